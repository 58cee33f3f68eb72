/** Settings of head unit and engine in words; what is none of them is shown as it is. */
export function settingInWords(setting: string): string {
  if (setting === 'reference') return 'volume, fader and tone as the job asks'
  if (setting === 'fader_front') return 'fader to the front'
  if (setting === 'engine_running') return 'engine running'
  return setting.startsWith('volume_') ? `volume ${setting.slice('volume_'.length)}` : setting
}
