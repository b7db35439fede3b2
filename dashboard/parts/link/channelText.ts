/** A channel's name in words: `lambda_2` is `λ, second sensor`. */
export function channelText(channel: string): string {
  const base = channel.replace(/_2$/, '')
  const isSecond = base !== channel && base !== 'input'
  const words = (isSecond ? base : channel).replaceAll('_', ' ').replace('lambda', 'λ')
  return isSecond ? `${words}, second sensor` : words
}
