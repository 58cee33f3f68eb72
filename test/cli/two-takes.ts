/** A small job and a rig for it: two outputs on one input make two takes. */
export const JOB = `
name: two takes
vehicle: { model: Quillon }
rig: rig.yaml
outputs:
  - { number: 1, label: front left, left: 1, right: 0, level_vrms: 2.0 }
  - { number: 2, label: front right, left: 0, right: 1, level_vrms: 2.0 }
`
export const RIG = `
name: one input
capture: { driver: simulated, sample_rate_hz: 44100, bits: 24 }
player: { driver: simulated }
meter: { driver: simulated, across_input: 1, accuracy_pct: 0.5, accuracy_vrms: 0.002 }
inputs: { count: 1, full_scale_vrms: 4.0, pad_db: 0, level_uncertainty_db: 0.1 }
`
