/**
 * The style sheet of the written report: dark on light, for a phone in the sun, a screen in the workshop, and A4.
 *
 * Colour only repeats what a word, a frame or a line's thickness says. No font is loaded.
 */
import { CHART_STYLE } from './chart-style.js'

export const STYLE = `
:root{color-scheme:light;--ink:#14181d;--quiet:#4a545f;--line:#c3cad2;--pale:#f3f5f7;--pass:#14602f;--fail:#a31515;--unsure:#7a4b00;--curve:#0f3a66}
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%;scroll-padding-top:1rem}
body{margin:0 auto;max-width:74rem;padding:1rem 1.25rem 3rem;background:#fff;color:var(--ink);font:1.0625rem/1.45 system-ui,-apple-system,'Segoe UI',Roboto,'Liberation Sans','DejaVu Sans',sans-serif;overflow-wrap:anywhere}
h1,h2,h3{line-height:1.2;margin:0 0 .5em}
h1{font-size:1.9rem}
h2{font-size:1.4rem;margin-top:2.2rem;padding-bottom:.25rem;border-bottom:2px solid var(--ink)}
h3{font-size:1.1rem}
p{margin:0 0 .5em}
a{color:#0b4a8f}
small,.unit{font-size:.82em;font-weight:400;color:var(--quiet)}
td small,th small{display:block}
.unit{white-space:nowrap}
.none{color:var(--quiet)}
.unseen{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
.badge{display:inline-block;min-width:4.6em;padding:.12em .5em;border:2px solid;border-radius:.25em;font-size:.82em;font-weight:700;line-height:1.25;text-align:center;letter-spacing:.03em;white-space:nowrap;vertical-align:.08em}
.badge.pass{color:var(--pass);background:#fff}
.badge.fail{color:#fff;background:var(--fail);border-color:var(--fail)}
.badge.unsure{color:var(--unsure);background:#fff7e0;border-style:dashed}
.badge.note{color:var(--quiet);background:#fff;border-color:var(--line)}
.mark{font-weight:700}
.mark.fail{color:var(--fail)}
.mark.unsure{color:var(--unsure)}
.simulated{margin:0 0 1rem;padding:.5rem .75rem;border:3px solid var(--ink);background:repeating-linear-gradient(135deg,#fff 0 14px,#e9ecef 14px 28px);font-weight:700;font-size:1.15rem;text-align:center}
.head{padding:1rem 1.25rem;border:1px solid var(--line);border-left:.6rem solid var(--pass);background:var(--pale)}
.head.fail{border-left-color:var(--fail)}
.head.unsure{border-left:.6rem dashed var(--unsure)}
.kind{color:var(--quiet);margin-bottom:.25rem}
.facts{display:grid;grid-template-columns:repeat(auto-fill,minmax(15rem,1fr));gap:.5rem 1.5rem;margin:.75rem 0}
.facts div{min-width:0}
.facts dt{font-size:.82em;color:var(--quiet)}
.facts dd{margin:0;font-weight:600}
nav a{display:inline-block;margin:.25rem .9rem .25rem 0;padding:.2rem 0}
.findings{list-style:none;margin:0;padding:0}
.findings li{margin:0 0 .8rem;padding:.7rem 1rem;border:1px solid var(--line);border-left:.4rem solid var(--line)}
.findings li.fail{border-left-color:var(--fail)}
.findings li.unsure{border-left:.4rem dashed var(--unsure)}
.findings p:last-child{margin:0}
.next{font-size:1.06em}
.places{font-size:.9em;color:var(--quiet)}
.because{color:var(--quiet)}
.printed{display:none}
.rest{margin:.4rem 0}
.chip{display:inline-block;margin:.1rem .9rem .1rem 0}
.chips{margin:.5rem 0 0}
.plainly{list-style:none;padding:0}
.plainly li{margin:.2rem 0}
h4{font-size:1rem;line-height:1.2;margin:0 0 .3em}
.stage{margin:0 0 1.6rem}
.strip{max-width:36rem;margin-bottom:1.2rem}
.staged,.asked,.changed,.corrections,.tuned{width:auto;min-width:24rem}
.other{padding:.6rem 1rem;border:3px solid var(--fail)}
.short li{margin:.5rem 0}
.overall{min-width:0}
.overall .words{overflow-wrap:anywhere}
.tuned small{max-width:22rem}
.warnings{padding-left:1.2rem}
.scroll{position:relative;overflow-x:auto;margin:0 0 1rem;background:linear-gradient(90deg,#fff 40%,transparent) 0 0/3rem 100% local,linear-gradient(270deg,#fff 40%,transparent) 100% 0/3rem 100% local,linear-gradient(90deg,#8792a0,transparent) 0 0/.7rem 100% scroll,linear-gradient(270deg,#8792a0,transparent) 100% 0/.7rem 100% scroll;background-repeat:no-repeat}
.sideways{display:none;position:sticky;left:0;width:fit-content;font-size:.85rem;font-weight:600;color:var(--quiet);margin:0 0 .2rem}
table{width:100%;border-collapse:collapse;font-size:.94rem;line-height:1.3;font-variant-numeric:tabular-nums}
caption{text-align:left;padding:0 0 .4rem;color:var(--quiet)}
caption span{position:sticky;left:0;display:inline-block;max-width:calc(100vw - 2rem)}
th,td{overflow-wrap:normal;padding:.35rem .5rem;border-bottom:1px solid var(--line);text-align:left;vertical-align:top}
thead th{border-bottom:2px solid var(--ink);vertical-align:bottom}
tbody th{font-weight:600}
.number{text-align:right}
.overview td.number,.inputs td,.methods td.number{white-space:nowrap}
.overview{min-width:62rem}
.overview th:first-child{width:12rem}
.overview .none{white-space:normal}
.checks{min-width:54rem;table-layout:fixed}
.takes{min-width:50rem;table-layout:fixed}
.inputs,.methods{width:auto;min-width:24rem}
.checks tbody *,.takes tbody *{overflow-wrap:anywhere}
.badge,.takes .number{overflow-wrap:normal!important;white-space:nowrap}
.digest{font-family:ui-monospace,'Liberation Mono','DejaVu Sans Mono',monospace;word-break:break-all}
.legend{color:var(--quiet)}
.swatch{display:inline-block;margin-right:.8em;white-space:nowrap}
.swatch svg{width:1.9em;height:1.02em;vertical-align:-.1em}
.charts{margin:0 0 1.2rem;padding:0}
.more{font-size:.82em;font-weight:400}
.pair{display:grid;grid-template-columns:1fr 1fr;gap:.5rem 1.5rem}
figure{margin:0}
.pair>*{min-width:0}
figure svg{display:block;width:100%;height:auto}
figcaption{font-size:.9rem;line-height:1.35}
.found{margin:.2rem 0 .5rem;font-size:.94rem}
.fold{margin:0 0 .35rem;border-left:2px solid var(--line);padding-left:.6rem}
.fold[open]{margin-bottom:1rem}
summary{cursor:pointer;padding:.2rem 0}
.gist{color:var(--quiet)}
.fold .pair{align-items:start;margin-top:.4rem}
small.aside{display:inline}
.part{white-space:nowrap}
.sections,.interruptions,.settings,.brief{width:auto}
.brief{font-size:.88rem}
.budget{min-width:52rem;table-layout:fixed;font-size:.88rem}
.budget td,.budget th,.brief td,.brief th{padding-top:.2rem;padding-bottom:.2rem}
.brief td.number,.sections td.number,.settings td.number,.overview td.words{white-space:nowrap}
.settings small{white-space:normal}
.missing{display:flex;flex-direction:column;justify-content:center;min-height:6rem;padding:1rem;border:1px dashed var(--line);color:var(--quiet);text-align:center}
svg text{font:12px system-ui,'Liberation Sans','DejaVu Sans',sans-serif}
${CHART_STYLE}.signs{display:grid;grid-template-columns:1fr 1fr;gap:1rem 3rem}
.rule{margin:2.6rem 0 0;padding-top:.25rem;border-top:1px solid var(--ink);font-size:.9rem;color:var(--quiet)}
footer{margin-top:2rem;color:var(--quiet);font-size:.9rem}
a:focus-visible,.scroll:focus-visible{outline:3px solid #0b4a8f;outline-offset:2px}
@media (max-width:44rem){
body{padding:.5rem .75rem 2rem}
.simulated{font-size:.9rem;padding:.2rem .4rem;margin-bottom:.5rem;border-width:2px}
h1{font-size:1.25rem}
h2{margin-top:1.2rem}
.facts{display:block;margin:.3rem 0;font-size:.85rem;line-height:1.35}
.facts div,.facts dt,.facts dd{display:inline}
.facts dt::after{content:': '}
.facts div:not(:last-child)::after{content:' · '}
.facts dt{font-size:inherit}
.head .chip{margin-right:.6rem;font-size:.85rem}
.head .kind,.chips>b{display:none}
nav{white-space:nowrap;overflow-x:auto}
.sideways{display:block}
.overall colgroup{display:none}
h1 .badge{display:block;width:fit-content;margin-bottom:.35rem}
.head{padding:.5rem .75rem}
.pair,.signs{grid-template-columns:1fr}
.overview tbody th,.overview thead th:first-child{position:sticky;left:0;max-width:9.5rem;background:#fff}
}
@media print{
@page{margin:12mm 12mm 14mm;@bottom-right{content:counter(page) ' / ' counter(pages);font:8pt 'Liberation Sans','DejaVu Sans',sans-serif;color:#4a545f}}
*{-webkit-print-color-adjust:exact;print-color-adjust:exact}
body{max-width:none;padding:0;font-size:9.5pt;line-height:1.35}
h1{font-size:13pt;margin-bottom:1mm}
.kind{font-size:8pt;margin:0}
.simulated{padding:.8mm;font-size:10pt;margin-bottom:2mm}
.chips{font-size:8.5pt;margin:0}
h2{font-size:12.5pt;margin-top:5mm}
h3{font-size:10pt;margin-bottom:.5mm}
ul{margin:0;padding-left:5mm}
footer{margin-top:4mm;font-size:8pt}
.rule{font-size:8pt}
h2,h3,caption{break-after:avoid}
nav,.more,.places,.screen,.fold:not([open]){display:none}
#sums .fold:not([open]),.checked .fold:not([open]){display:block}
.checked .fold::details-content{content-visibility:visible;block-size:auto}
.checked summary{display:none}
.fold{border:0;padding:0}
.found{font-size:8pt;margin:0 0 1mm}
a{color:inherit;text-decoration:none}
.head{padding:1.5mm 3mm}
.facts{grid-template-columns:repeat(4,1fr);gap:.8mm 4mm;margin:1mm 0;line-height:1.15}
.facts dt{font-size:7pt}
.facts dd{font-size:8.5pt}
.scroll{overflow:visible;margin-bottom:3mm}
table,.overview,.checks,.takes,.budget{min-width:0;font-size:8pt;line-height:1.2}
th,td{padding:.3mm 1.2mm}
.checks{font-size:7.6pt}
.checked{margin-bottom:2.5mm}
.checked .scroll{margin-bottom:0}
caption{padding-bottom:.5mm}
caption span{max-width:none}
.badge{border-width:1px;padding:0 .4em;min-width:4.4em}
thead{display:table-header-group}
tr,li,article,figure,.sign,.signs,.pair,.fold,.equaliser{break-inside:avoid}
article.charts,article.stage{break-inside:auto}
.overview td,.overview th{padding:.25mm .8mm}
.overview{font-size:7.5pt;line-height:1.15}
.overview .none{font-size:6pt;line-height:1}
.overview thead th{line-height:1.1}
.overview th:first-child{width:38mm}
.findings li{margin-bottom:1mm;padding:.5mm 2.5mm}
.findings p,.findings h3,.findings h4{margin-bottom:.3mm}
.because{font-size:7.5pt;line-height:1.2}
.findings h3,.findings h4{font-size:9pt;line-height:1.2}
.next{font-size:8.5pt;line-height:1.2}
#findings h2,#outputs h2{margin-top:2.5mm;margin-bottom:1mm}
.printed{display:block}
.rest p{font-size:9pt;margin:0}
.rest{margin:.5mm 0 0}
.rest li{font-size:8pt;line-height:1.2;margin:0 0 .5mm}
.onpage{break-before:page}
.onpage h2{margin-top:0}
.stage{margin-bottom:4mm}
.strip{max-width:110mm}
h4{font-size:9pt}
.overview small{font-size:6.5pt;line-height:1}
.staged,.asked,.changed,.corrections,.tuned{min-width:0;max-width:100%}
:is(.staged,.asked,.changed,.corrections,.tuned,.sections,.overview,.methods,.inputs,.brief) :is(th,td){overflow-wrap:anywhere}
.charts{margin-bottom:1.5mm}
.charts h3{margin-bottom:0}
.pair{gap:0 4mm}
figcaption{font-size:7.5pt;line-height:1.2}
.missing{min-height:20mm;padding:2mm}
.legend{font-size:8pt;margin-bottom:1mm}
.short li{font-size:8.5pt;margin:.8mm 0}
.overall small{font-size:7.5pt;line-height:1.15}
.rule{margin-top:11mm}
}
`

/** On every printed page too, where the browser prints margin boxes. */
export const SIMULATED_STYLE = `
@media print{@page{@bottom-left{content:'SIMULATED: a model was measured, no vehicle.';font:bold 8pt 'Liberation Sans','DejaVu Sans',sans-serif;color:#14181d}}}
`

export type PageSize = 'a4' | 'letter'

export const PAGE_SIZES: Readonly<Record<PageSize, string>> = {
  a4: '@page{size:A4}',
  letter: '@page{size:letter}',
}
