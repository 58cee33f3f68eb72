/**
 * How charts look: plain rules for the classes that every chart uses, so that page and PDF draw the same lines.
 *
 * What differs differs by dashes, thickness or shape; colour only repeats it. No variables: the PDF's drawing knows none.
 */
export const CHART_STYLE = `
svg text{fill:#14181d}
svg path{fill:none}
.gridline{stroke:#dde2e7;stroke-width:1}
.edge{fill:none;stroke:#7d8893;stroke-width:1}
svg .room{fill:#dcebe0}
svg .limit{stroke:#3f6b4d;stroke-width:1;stroke-dasharray:4 3}
svg .curve{stroke:#0f3a66;stroke-width:2;stroke-linejoin:round}
svg .dashed{stroke-dasharray:7 4}
svg .dotted{stroke-dasharray:1.5 3.5}
svg .dashdot{stroke-dasharray:9 3 2 3}
svg .sure{fill:#d9dee4}
svg .dot{stroke:#0f3a66;stroke-width:5;stroke-linecap:round}
svg .atmost{fill:#fff;stroke:#0f3a66;stroke-width:1.2;stroke-linejoin:round}
svg .outside{stroke:#a31515;stroke-width:5;stroke-linecap:round;stroke-linejoin:round}
svg .reference{fill:#fff;stroke:#14181d;stroke-width:1.5}
svg .band{fill:#d3dde8}
svg .bandtop{stroke:#0f3a66;stroke-width:1.5}
svg .needle{stroke:#a31515;stroke-width:2.5}
svg .letter{font-weight:700}
svg .mark{stroke:#14181d;stroke-width:1;stroke-dasharray:2 2}
svg .zero{stroke:#7d8893;stroke-width:1}
svg .bar{stroke:#0f3a66;stroke-width:1.5}
svg .onbad{stroke:#fff;stroke-width:1.5}
svg .badly{stroke:#a31515;fill:#a31515}
`
