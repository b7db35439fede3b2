/** Names of the channels that the run worker works out. */
export const lambdaChannel = 'mixture λ'
export const lambdaChannel2 = 'mixture λ, bank 2'
