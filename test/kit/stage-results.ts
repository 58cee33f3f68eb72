/**
 * Stages as they might be left by a job, for the tests of views and archive: one of each kind, made up, with tables, plots
 * with gaps, limits and marks, and corrections.
 */
import type { StageName } from '../../src/job/job.js'
import type { Figure, Finding } from '../../src/verdict/parts.js'
import { StageResult } from '../../src/verdict/stage-result.js'

const figure = (quantity: string, value: number, unit: Figure['unit'], u: number, method: string): Figure => ({
  quantity,
  value,
  unit,
  u,
  budget: [
    { source: 'meter accuracy', u: u / 2.5 },
    { source: 'spread of readings', u: u / 3.5 },
  ],
  isAtMost: false,
  isAtLeast: false,
  freqHz: null,
  method,
})

const finding = (kind: Finding['kind'], title: string, because: string, next: string): Finding => ({
  kind,
  verdict: 'fail',
  outputs: [],
  title,
  because,
  next,
})

const bare = (stage: StageName, summary: string): StageResult => ({
  stage,
  verdict: 'pass',
  summary,
  startedAt: '2026-04-01T14:10:00.000Z',
  endedAt: '2026-04-01T14:14:00.000Z',
  figures: [],
  checks: [],
  findings: [],
  tables: [],
  plots: [],
  corrections: [],
  takes: [],
  notes: [],
  cautions: [],
})

const PINS = [
  'A1 supply',
  'A2 ground',
  'A3 ignition',
  'A7 remote',
  'B1 front left +',
  'B2 front left −',
  'B3 front right +',
]

const pins = (isFaulty: boolean): StageResult => {
  const wrong = isFaulty ? 'A2 ground' : ''
  const ground = figure(
    'resistance',
    isFaulty ? 38.2 : 0.21,
    'Ω',
    0.12,
    'ohms between pin and ground, leads taken off/1',
  )
  return {
    ...bare(
      'pins',
      isFaulty ? '6 of 7 pins are as the table says; A2 has no ground.' : 'All 7 pins are as the table says.',
    ),
    verdict: isFaulty ? 'fail' : 'pass',
    figures: [ground],
    checks: [
      {
        name: 'ground A2',
        verdict: isFaulty ? 'fail' : 'pass',
        figure: ground,
        expected: '1.0 Ω or less',
        measured: isFaulty ? '38.2 Ω' : '0.21 Ω',
        why: isFaulty ? 'Above its limit.' : '',
      },
    ],
    findings: isFaulty
      ? [
          finding(
            'pin',
            'Pin A2 ground has no ground: 38.2 Ω',
            'A ground pin has 1.0 Ω or less.',
            'Plug nothing in. Follow the wire of A2 to its ground point, clean and tighten it, then measure again.',
          ),
        ]
      : [],
    tables: [
      {
        caption: 'Pins of the harness, nothing plugged in.',
        head: ['Pin', 'Expected', 'Measured'],
        rows: PINS.map((pin, i) => ({
          cells: [
            pin,
            i === 1 ? '≤ 1.0 Ω' : i < 4 ? '11.5 to 14.8 V' : '≥ 10 kΩ',
            pin === wrong ? '38.2 Ω' : i === 1 ? '0.21 Ω' : i < 4 ? '12.41 V' : '1.2 MΩ',
          ],
          verdict: pin === wrong ? ('fail' as const) : ('pass' as const),
        })),
      },
    ],
    cautions: ['Leave plugs with yellow marks alone: they belong to airbags.'],
  }
}

const FREQ_HZ = Array.from({ length: 60 }, (_, i) => 20 * 10 ** (i / 20))

const flat = (isFaulty: boolean): StageResult => ({
  ...bare(
    'flat',
    isFaulty ? 'Output 3 is not flat: +4.1 dB at 82 Hz.' : 'All outputs and sums are flat within ± 1 dB.',
  ),
  verdict: isFaulty ? 'fail' : 'pass',
  findings: isFaulty
    ? [
        {
          ...finding(
            'not flat',
            'Output 3 front left low is not flat: +4.1 dB at 82 Hz',
            'Against 1 kHz; limit ± 1 dB.',
            'Type the sections of the table into the processor and take it again.',
          ),
          outputs: [3],
        },
      ]
    : [],
  plots: [
    {
      caption: 'Sum of front left, as it stands and with the settings.',
      alt: 'As it stands it rises by 4 dB near 82 Hz; with the settings it is flat.',
      x: { says: 'frequency (Hz)', scale: 'log' },
      y: { says: 'level re 1 kHz (dB)', scale: 'linear' },
      series: [
        {
          name: 'as it stands',
          x: FREQ_HZ,
          y: FREQ_HZ.map((freqHz) => 4.1 * Math.exp(-(Math.log2(freqHz / 82) ** 2))),
        },
        { name: 'with the settings', x: FREQ_HZ, y: FREQ_HZ.map((freqHz) => 0.1 * Math.sin(freqHz)) },
      ],
      limits: [
        { says: '+1 dB', y: 1 },
        { says: '−1 dB', y: -1 },
      ],
      marks: [{ says: '82 Hz', x: 82 }],
    },
  ],
  corrections: [
    {
      of: '3 front left low',
      outputs: [3],
      sections: [
        { kind: 'peaking', freqHz: 82.1, gainDb: -4.1, q: 1.1 },
        { kind: 'high shelf', freqHz: 2400, gainDb: 1.2, q: 0.71 },
      ],
      leavesDb: 0.3,
    },
    { of: 'sum front left', outputs: [1, 3], sections: [], leavesDb: 0.4 },
  ],
})

const gains = (): StageResult => ({
  ...bare('gains', 'Highest clean volume is 24; amplifiers are set for 20 V.'),
  tables: [
    {
      caption: 'Gains sheet. Set each amplifier at volume 24 with the tone until the voltage stands at its terminals.',
      head: ['Output', 'Amplifier', 'Tone', 'Voltage at the terminals (V)'],
      rows: [
        { cells: ['1 front left high', 'A channel 1', '6.3 kHz, −10 dBFS', '12.2'], verdict: null },
        { cells: ['3 front left low', 'A channel 3', '60 Hz, −5 dBFS', '20.0'], verdict: null },
        { cells: ['9 subwoofer left', 'B channel 1', '60 Hz, −5 dBFS', '34.6'], verdict: null },
      ],
    },
  ],
  figures: [figure('clean output', 2.02, 'V', 0.02, 'highest step below 1 % THD/1')],
})

const chimes = (isFaulty: boolean): StageResult => ({
  ...bare(
    'chimes',
    isFaulty ? '2 of 3 warnings are heard; lane warning is not.' : 'All 3 warnings are heard where they belong.',
  ),
  verdict: isFaulty ? 'unsure' : 'pass',
  findings: isFaulty
    ? [
        {
          ...finding(
            'chime',
            'Chime lane warning was not heard on any output',
            'No output stood 10 dB over its floor.',
            'Trigger it again with the radio off; a warning may need the vehicle to move: then ask the customer to try it with you.',
          ),
          verdict: 'unsure',
        },
      ]
    : [],
  tables: [
    {
      caption: 'Warnings and the outputs on which they were heard.',
      head: ['Warning', 'Expected on', 'Heard on', 'Over the floor (dB)'],
      rows: [
        { cells: ['seat belt', '1, 3', '1, 3', '41.2'], verdict: 'pass' },
        { cells: ['park distance, rear', '5, 6', '5, 6', '38.0'], verdict: 'pass' },
        {
          cells: ['lane warning', '1, 2', isFaulty ? '–' : '1, 2', isFaulty ? '–' : '30.1'],
          verdict: isFaulty ? 'unsure' : 'pass',
        },
      ],
    },
  ],
  takes: [
    {
      what: 'chime seat belt',
      source: 'takes/chime-seat-belt.wav',
      sha256: '60303ae22b998861bce3b28f33eec1be758a213c86c93c076dbe9f558c11c752',
      sampleRateHz: 48_000,
      inputCount: 8,
      durationS: 12.5,
      faults: [],
    },
  ],
})

const engine = (): StageResult => ({
  ...bare('engine', 'The supply holds 11.2 V while cranking; no output whines.'),
  plots: [
    {
      caption: 'Supply while cranking.',
      alt: 'The supply falls from 12.5 V to 11.2 V for a second, then rises to 14.1 V.',
      x: { says: 'time (s)', scale: 'linear' },
      y: { says: 'supply (V)', scale: 'linear' },
      series: [
        {
          name: 'supply',
          x: [0, 1, 2, 2.5, 3, 4, 6, 8, 10],
          y: [12.5, 12.5, 11.2, 11.2, 11.6, 13.6, 14.1, 14.1, 14.1],
        },
      ],
      limits: [{ says: 'least that the interface needs', y: 9 }],
      marks: [
        { says: 'cranking', x: 1.8 },
        { says: 'runs', x: 3.2 },
      ],
    },
  ],
  cautions: ['Run engines outdoors or with the exhaust led out: carbon monoxide kills.'],
})

/** Readings of forty minutes with a gap, falling in steps as control units go to sleep. */
function standby(isFaulty: boolean): StageResult {
  const minutes = Array.from({ length: 241 }, (_, i) => i / 6)
  const awake = (at: number): number => (at < 2 ? 4200 : at < 11 ? 640 : at < 24 ? 95 : isFaulty ? 61 : 18)
  const current = figure('standby current', isFaulty ? 0.0612 : 0.0181, 'A', 0.0004, 'mean of the last five minutes/1')
  return {
    ...bare(
      'standby',
      isFaulty ? 'Standby current is 61.2 mA, more than 50 mA.' : 'Standby current is 18.1 mA after 24 minutes.',
    ),
    verdict: isFaulty ? 'fail' : 'pass',
    figures: [current, figure('days to a flat battery', isFaulty ? 19 : 64, 'day', 2, 'charge over current/1')],
    checks: [
      {
        name: 'standby current',
        verdict: isFaulty ? 'fail' : 'pass',
        figure: current,
        expected: '50 mA or less',
        measured: isFaulty ? '61.2 mA' : '18.1 mA',
        why: isFaulty ? 'Above its limit.' : '',
      },
    ],
    findings: isFaulty
      ? [
          finding(
            'standby',
            'Standby current is 61.2 mA, 43 mA of it the new equipment',
            'It falls to 18 mA when the interface is unplugged; limit 50 mA.',
            'Check that the remote turn-on goes off: measure A7 twenty minutes after locking. It has to be under 0.5 V.',
          ),
        ]
      : [],
    plots: [
      {
        caption: 'Current after locking.',
        alt: 'The current falls in steps from 4.2 A; readings are missing from minute 6 to 8.',
        x: { says: 'time after locking (min)', scale: 'linear' },
        y: { says: 'current (mA)', scale: 'log' },
        series: [
          {
            name: 'current',
            x: minutes,
            y: minutes.map((at) => (at > 6 && at < 8 ? null : awake(at) * (1 + 0.02 * Math.sin(9 * at)))),
          },
        ],
        limits: [{ says: 'limit 50 mA', y: 50 }],
        marks: [
          { says: 'locked', x: 2 },
          { says: 'asleep', x: 24 },
        ],
      },
    ],
    notes: ['Readings are missing from minute 6 to 8: the meter was unplugged.'],
  }
}

/** One of each kind, in the order of the work. */
export const sampleStages = (isFaulty: boolean): StageResult[] =>
  [pins(isFaulty), flat(isFaulty), gains(), chimes(isFaulty), engine(), standby(isFaulty)].map((stage) =>
    StageResult.parse(stage),
  )
