/** What a person has set in the list of runs: kept while the page is open, so that it is there after a look at a run. */
export class RunsView {
  /** Id of the car whose runs are shown; empty for all. */
  car = $state('')
  /** `main_jet=71`: the part whose runs are shown; empty for all. */
  part = $state('')
  /** Ids of the ticked runs, in the order in which they were ticked. */
  chosen = $state.raw<readonly string[]>([])

  choose(id: string, isOn: boolean): void {
    this.chosen = isOn ? [...this.chosen, id] : this.chosen.filter((other) => other !== id)
  }
}
