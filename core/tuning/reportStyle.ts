/** Style of the printed sheet: A4 and Letter, black on white, nothing that needs the network. */
export const reportCss = `
@page { size: auto; margin: 12mm 13mm; }
* { box-sizing: border-box; }
html { -webkit-print-color-adjust: exact; print-color-adjust: exact; }
body { margin: 0 auto; max-width: 190mm; padding: 0; color: #14171c; background: #fff;
  font: 400 9.5pt/1.35 B612, "DejaVu Sans", Verdana, sans-serif; font-variant-numeric: tabular-nums; }
@media screen { body { padding: 8mm 4mm; } }
header { display: flex; justify-content: space-between; gap: 6mm; border-bottom: 0.6mm solid #14171c; padding-bottom: 1.5mm; }
header div, .facts, .plain td:last-child:not(.number) { overflow-wrap: anywhere; }
header div:last-child { flex: none; }
header b { font-size: 11pt; }
h1 { font-size: 17pt; line-height: 1.15; margin: 4mm 0 1.5mm; }
h2 { font-size: 11pt; margin: 2mm 0 1.5mm; }
p { margin: 0 0 1.5mm; }
.quiet { color: #4a4f57; }
.facts { color: #4a4f57; margin-bottom: 2mm; }
.two { display: grid; grid-template-columns: 1fr 1fr; gap: 0 7mm; align-items: start; }
.two section { padding-bottom: 3mm; }
section, figure, .keep, table { break-inside: avoid; margin: 0; }
h2 { break-after: avoid; }
table { border-collapse: collapse; width: 100%; }
thead { display: table-header-group; }
th { text-align: left; font-weight: 700; }
caption { text-align: left; color: #4a4f57; padding-bottom: 1mm; caption-side: bottom; padding-top: 1mm; font-size: 8pt; }
.circuits td, .circuits th { border-top: 0.2mm solid #767c86; padding: 1.2mm 0; vertical-align: middle; }
.circuits th span { display: block; font-weight: 400; color: #4a4f57; font-size: 8pt; }
.circuits .picture { width: 66mm; padding: 0 4mm; }
.circuits .word { width: 42mm; font-weight: 700; }
.circuits .word span { display: block; font-weight: 400; font-size: 8pt; color: #4a4f57; }
.circuits .count { width: 20mm; text-align: right; }
.circuits .rich { color: #00588c; }
.circuits .lean { color: #7a4200; }
.gate { display: block; width: 100%; height: auto; }
.gate .strip { stroke: #767c86; stroke-width: 1.2; }
.gate .post { stroke: #14171c; stroke-width: 3; }
.gate .interval { stroke: #14171c; stroke-width: 1.8; }
.gate .rich { fill: none; stroke: #00588c; stroke-width: 1.6; }
.gate .hatch { stroke: #00588c; stroke-width: 2.2; }
.gate .lean { fill: #7a4200; }
.next { border-left: 1.6mm solid #14171c; background: #f3f2ee; padding: 2.5mm 4mm; margin-bottom: 3mm; }
.next h2 { margin-top: 0; }
.next .big { font-size: 15pt; font-weight: 700; margin: 0 0 1mm; }
.warn { border: 0.5mm solid #14171c; padding: 1.5mm 3mm; margin: 2mm 0; font-weight: 700; }
.caution { border-left: 0.8mm solid #14171c; padding-left: 2mm; font-weight: 700; font-size: 8.5pt; }
.map { width: auto; }
.map caption span { display: block; min-width: 60mm; }
.map td { min-width: 9mm; width: 10mm; height: 6.2mm; text-align: center; border: 0.3mm solid #fff; font-size: 8.5pt; padding: 0; }
.map td.none { background: #f3f2ee; }
.map td.solid { font-weight: 700; outline: 0.25mm solid #767c86; outline-offset: -0.25mm; }
.map td.is-rich { border-left: 1.2mm double #00588c; }
.map td.is-lean { border-right: 1mm dotted #7a4200; }
.map th { font-weight: 400; color: #4a4f57; font-size: 8pt; text-align: center; padding: 0 1mm; }
.plain td, .plain th { border-top: 0.2mm solid #c9ccd1; padding: 0.7mm 2mm 0.7mm 0; vertical-align: top; }
.plain td.number, .plain th.number { text-align: right; padding-right: 0; }
.times td:first-child { width: 14mm; }
.tips { display: block; width: 100%; height: auto; }
.tips .grid { stroke: #c9ccd1; stroke-width: 0.8; }
.tips .opens { stroke: #14171c; stroke-width: 1; stroke-dasharray: 3 3; }
.tips .aim { stroke: #14171c; stroke-width: 1.4; stroke-dasharray: 1 4; stroke-linecap: round; }
.tips .one { fill: none; stroke: #8a9099; stroke-width: 0.9; }
.tips .median { fill: none; stroke: #14171c; stroke-width: 2.6; }
.tips .axis { font-size: 12px; fill: #4a4f57; }
.tips .end { text-anchor: end; }
.tips .name { paint-order: stroke; stroke: #fff; stroke-width: 3px; }
.tips .mid { text-anchor: middle; }
footer { border-top: 0.3mm solid #14171c; margin-top: 5mm; padding-top: 1.5mm; font-size: 8pt; color: #4a4f57; break-inside: avoid; }
footer { columns: 2; column-gap: 7mm; }
footer p { margin: 0 0 0.6mm; break-inside: avoid; }
@media screen and (max-width: 700px) { .two { grid-template-columns: 1fr; } .circuits .picture { width: auto; } .circuits .word { width: auto; } }
`
