/** One piece of the help: what a person sees or wants, and what to do. */
export interface HelpItem {
  title: string
  /** Paragraphs, or steps when `isSteps`. */
  lines: readonly string[]
  isSteps?: boolean
}

export interface HelpChapter {
  id: string
  title: string
  lead: string
  items: readonly HelpItem[]
}

export const helpChapters: readonly HelpChapter[] = [
  {
    id: 'connect',
    title: 'Connect',
    lead: 'A board on a USB cable, a computer that runs the bridge, a tablet that shows it.',
    items: [
      {
        title: 'Without any hardware',
        lines: [
          'Start the bridge with --sim marigold: a simulated car drives, and every page works as on the road.',
        ],
      },
      {
        title: 'With a board',
        isSteps: true,
        lines: [
          'Plug it in and open the page Link: list the ports, then listen to each.',
          'Start the bridge with --port and the path of the port that speaks.',
          'Unless --baud says the speed, the bridge finds it by trying. A board with lines of its own: say on the page Link what each column means, save the map, and use it at once.',
        ],
      },
      {
        title: '“Permission denied” on Linux',
        lines: [
          'The port belongs to a group, mostly dialout or uucp. Add yourself to it (the error text gives the one command), then log out and in, or restart. Never open the port to everybody.',
        ],
      },
      {
        title: 'The port appears and vanishes after a second (Ubuntu 22.04)',
        lines: [
          'The service for Braille displays claims the chip. Remove the package brltty unless someone needs it; newer versions leave common chips alone.',
        ],
      },
      {
        title: 'Garbage or “busy” in the first ten seconds (Linux)',
        lines: [
          'A modem manager tries the port. It is over after 15 s; the udev rule that comes with the bridge stops it for good.',
        ],
      },
      {
        title: '“Access denied” on Windows, “cannot lock” on a Mac',
        lines: [
          'Another program holds the port, perhaps a dead copy of this one. Close it; the bridge tries again by itself.',
          'On a Mac take the cu. name: the tty. name of the same port waits for a signal that many boards never give, and opens without a word.',
        ],
      },
      {
        title: 'A first line is broken, some lines are damaged',
        lines: [
          'Whoever opens a port in mid-sentence hears half a line: that one is left out. A few damaged lines an hour are a long cable or a worn plug; the page Link counts them. Many at once: the speed is wrong, or the ground wire is missing.',
        ],
      },
      {
        title: 'It should start with the car',
        lines: [
          'The folder bridge/install has a service for a small Linux computer and a rule that gives the board one lasting name. Power may be cut at any moment: a run loses its last second at most.',
        ],
      },
      {
        title: 'Cable pulled, board restarted',
        lines: [
          'Nothing to do: two seconds of silence count as lost, the port is opened anew, and the gap stays a gap. Some boards restart whenever a port is opened: expected.',
        ],
      },
      {
        title: 'Samples come in bursts',
        lines: [
          'The board’s own clock is used, so nothing is wrong but the delay. With some USB chips a shorter latency timer (16 → 1 ms) helps.',
        ],
      },
    ],
  },
  {
    id: 'pair',
    title: 'Pair a tablet',
    lead: 'A stranger on the same Wi-Fi gets nothing: each device is let in once, by a link that works once.',
    items: [
      {
        title: 'In a minute',
        isSteps: true,
        lines: [
          'Start the bridge with --lan. Tablet and bridge are on the same network: home, hotspot, or cable.',
          'Scan the code from the terminal or from the page Connect. Without a camera, open the address and type the six digits.',
          'On the tablet open the page Before driving: one line each tells what is right.',
        ],
      },
      {
        title: 'The link says that it was used already',
        lines: [
          'Each works once and for a quarter of an hour. Make a new one on the page Connect of the bridge’s own machine. There you also see who was let in, make a tablet one that may only look, and shut one out that was lost or sold.',
        ],
      },
      {
        title: 'Encrypted, and why',
        lines: [
          'Started with --https the bridge makes its own certificate. The tablet must trust it once: the page that opens over plain http leads through it, on an iPad in two places. In return the screen can be kept on, and the page starts without the bridge.',
          'Plain http works as well. Anybody on the same Wi-Fi could then read along, but neither get in nor change a thing.',
        ],
      },
      {
        title: 'The tablet leaves the hotspot',
        lines: [
          'A hotspot without internet looks broken to it. Answer “stay connected”, switch mobile data off for the drive, or use the cable.',
        ],
      },
      {
        title: 'The screen sleeps in the drive',
        lines: [
          'Set the tablet’s own screen timeout to its longest first. The page Connect tells whether this screen stays on, and lists the other ways.',
        ],
      },
      {
        title: 'Back from another app: the picture stood still',
        lines: [
          'It opens the link again within two seconds and fetches what was missed. If it does not, pull the page down to load it anew.',
        ],
      },
      {
        title: 'The warning is silent on an iPad',
        lines: [
          'Tap once, since sound needs a tap; check the ring switch; run the sound test before moving off. The picture carries the alarm alone.',
        ],
      },
    ],
  },
  {
    id: 'drive',
    title: 'Drive',
    lead: 'The driver only looks and hears. Whoever touches is a passenger, or the car stands.',
    items: [
      {
        title: 'What one glance tells',
        lines: [
          'The large number is the mixture. The word beside it says on target, rich or lean, and how far.',
          'The gate beneath: empty between its posts is right. A thick hatched block to the left is too much fuel, a thin dotted line to the right too little.',
          'A value that may not be believed is replaced by a word and a reason: SENSOR WARMING, OVERRUN, SETTLING (the load has just changed), SENSOR FAULT, NO DATA with its seconds.',
        ],
      },
      {
        title: 'Recording without a touch',
        lines: [
          'With a board it starts at the first firing, keeps the half minute before, and ends when the engine has been off for a minute. Record starts and stops it by hand. With the simulator say --auto-record.',
          'Set-up is locked meanwhile, and while the car is known to move.',
        ],
      },
      {
        title: 'Mark a moment',
        lines: [
          'A tap anywhere on the lowest slat, or any key: a Bluetooth button on the wheel sends one. A word can be added when parked, on the page of the run.',
        ],
      },
      {
        title: 'Alarms',
        lines: [
          'A filled octagon means act now; a diamond means look soon; a circle is for knowing. What is over stays as a line (“was lean 0.95, 1.2 s”) until it is tapped, so nobody needs to look at once.',
          'One tap on the slat says seen. Mute, for the passenger or when parked, takes the sound for ten minutes and leaves the picture.',
          'SOUND OFF: the browser gives sound only after a tap. RECORDING FAILED or a nearly full disk: the live view goes on; free some space. The board’s clock drifts: its ticks and the bridge’s clock disagree by more than one per cent, so look at its ticks per second.',
        ],
      },
      {
        title: 'A drive that answers the questions',
        lines: [
          '60 s of warm idle; steady cruise at three speeds, 30 s each; ten openings of the throttle from cruise and five from idle; three overruns; three pulls in one gear where that is legal and safe, best on a closed course.',
          'For one question less will do: the page Before driving lists what it takes, how long that is, and what lacks.',
          'The state slat counts what is covered, so that no second drive is needed for a missing piece.',
        ],
      },
      {
        title: 'Lift at the lean warning',
        lines: ['Lean under load melts pistons. Lift first, look afterwards; the run has it all.'],
      },
      {
        title: 'Cold start',
        lines: [
          'Never in a closed garage: exhaust gas kills within minutes. Recording starts before the key; choke and fast idle are found afterwards.',
        ],
      },
    ],
  },
  {
    id: 'read',
    title: 'Read',
    lead: 'The first line of a run is the answer in words; the rest is its proof.',
    items: [
      {
        title: 'How sure it is',
        lines: [
          'Each verdict has a ± and the seconds it rests on. “Not enough data” is an answer: it says what to drive.',
          'Runs of two days are compared at the same air, since a hot or high day alone makes the same jets richer.',
        ],
      },
      {
        title: 'Charts by hand',
        lines: [
          'Drag over the whole run to see a stretch in detail. One finger moves a chart, two fingers zoom it, and + − ◀ ▶ do the same. Under each chart is a table of it, and a picture to take away.',
          'A hole in a line is a hole in the data: nothing is joined over it.',
        ],
      },
      {
        title: 'A file will not leave the tablet',
        lines: [
          'Started from the home screen some tablets show a download in a viewer without a way out: open the page in the browser itself, or take the file from the bridge’s disk, where each run lies as text in a folder for its car and day.',
        ],
      },
      {
        title: 'When the reading lies',
        lines: [
          'Idle reads lean and steady while cruise is fine: look for a leak before the sensor, or air injection.',
          'Lean with an uneven idle and sagging speed: a misfire reads lean while the plug is wet.',
          'High idle pressure and a wandering reading: a long-overlap camshaft; set idle by best vacuum instead.',
          'One sensor says nothing of the other bank.',
          'Everything slowly richer or leaner over months: check the sensor in free air, page Bench.',
        ],
      },
      {
        title: 'Sensor care',
        lines: [
          'Never leave it unheated in a running exhaust. No leaded or racing fuel, no silicone sealer, tip down, away from water.',
        ],
      },
    ],
  },
  {
    id: 'decide',
    title: 'Decide',
    lead: 'One change at a time, with a size that is in your box, and proof after it.',
    items: [
      {
        title: 'From verdict to swap',
        isSteps: true,
        lines: [
          'Page Next change names one part, what it will do and why. “Change nothing” is a possible answer.',
          'Before opening the carburettor: cold engine, ignition, pump and battery off, no flame or lamp, a closed metal can, an extinguisher, eyes covered.',
          'Page Fitted: tap the part, tap the size. The next drive is tied to it.',
          'Drive again, and let Compare say better, worse or cannot tell.',
        ],
      },
      {
        title: 'It got worse',
        lines: ['Page Fitted, Changes: the former set is one tap away.'],
      },
      {
        title: 'Jets of two makers',
        lines: [
          'The stamped number is a maker’s code. Measure the bore with a drill’s shank or a gauge pin, and type that.',
        ],
      },
      {
        title: 'The law',
        lines: [
          'Changing mixture parts may be unlawful on a road car. Follow local law and a qualified technician. All figures are an aid, and no certified measurement.',
        ],
      },
    ],
  },
]
