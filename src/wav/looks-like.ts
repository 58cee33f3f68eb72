/**
 * Says what a file that is no WAV looks like, by its first bytes, so that the person knows what to convert.
 */

/** First bytes of common files: offset, bytes as Latin-1 text, name. The longer pattern stands first. */
const SIGNATURES: readonly (readonly [number, string, string])[] = [
  [0, 'fLaC', 'FLAC'],
  [0, 'OggS', 'Ogg (Vorbis or Opus)'],
  [4, 'ftyp', 'MP4 or M4A (AAC or ALAC)'],
  [0, 'ID3', 'MP3'],
  [0, 'ADIF', 'AAC'],
  [0, 'FORM', 'AIFF'],
  [0, 'caff', 'CAF'],
  [0, '.snd', 'AU'],
  [0, 'RIFX', 'big-endian WAV (RIFX)'],
  [0, 'riff\x2e\x91\xcf\x11', 'Wave64'],
  [0, 'wvpk', 'WavPack'],
  [0, 'MAC ', 'APE'],
  [0, 'DSD ', 'DSF'],
  [0, '\x30\x26\xb2\x75', 'WMA'],
  [0, '\x1a\x45\xdf\xa3', 'Matroska or WebM'],
  [0, '#!AMR', 'AMR'],
  [0, 'PK\x03\x04', 'a ZIP archive'],
  [0, '%PDF', 'PDF'],
]

/**
 * Name of the format that a file's first bytes belong to, or null.
 *
 * @param bytes at least the first 12 bytes, where the file has as many
 */
export function looksLike(bytes: Uint8Array): string | null {
  for (const [offset, text, name] of SIGNATURES) {
    if (latin1(bytes, offset, text.length) === text) return name
  }
  if (latin1(bytes, 0, 4) === 'RIFF') return `RIFF of type "${printable(latin1(bytes, 8, 4))}"`
  // MPEG audio and ADTS frames start with eleven or twelve set bits; layer 0 marks ADTS.
  if (bytes.length >= 2 && bytes[0] === 0xff && (bytes[1] & 0xe0) === 0xe0) {
    return (bytes[1] & 0xf6) === 0xf0 ? 'AAC' : 'MP3'
  }
  const head = bytes.subarray(0, 512)
  const isText =
    head.length > 0 && head.every((byte) => byte >= 0x20 || byte === 0x0a || byte === 0x0d || byte === 0x09)
  return isText ? 'text' : null
}

/** Bytes as text, one character each; shorter where the bytes end. */
export const latin1 = (bytes: Uint8Array, offset: number, length: number): string =>
  String.fromCharCode(...bytes.subarray(offset, offset + length))

/** Text with everything that is no printable ASCII shown as a dot. */
export const printable = (text: string): string => text.replace(/[^\x20-\x7e]/g, '.')
