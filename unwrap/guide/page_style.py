"""How the guide looks, on the screen and on A4."""

STYLE = """
:root { --ink: #26262a; --quiet: #66666e; --rule: #d5d2ca; --wash: #f5f3ee; --mark: #8a3b12; }
* { box-sizing: border-box; }
body { margin: 0; background: #fff; color: var(--ink); font: 15px/1.45 "Gill Sans", "Gill Sans Nova", Optima,
  Candara, "Noto Sans", "Liberation Sans", sans-serif; }
main { max-width: 190mm; margin: 0 auto; padding: 10mm 6mm 16mm; }
h1, h2, h3 { font-family: "Iowan Old Style", "Palatino Linotype", Palatino, P052, Georgia, serif;
  font-weight: 600; line-height: 1.15; }
h1 { font-size: 34px; margin: 0 0 4mm; }
h2 { font-size: 21px; margin: 11mm 0 3mm; padding-bottom: 1.2mm; border-bottom: 0.4mm solid var(--ink); }
h3 { font-size: 17px; margin: 0 0 2.5mm; }
h3 small { font: 13px "Gill Sans", Optima, Candara, "Noto Sans", "Liberation Sans", sans-serif;
  color: var(--quiet); }
.kind { margin: 0; color: var(--quiet); }
.facts { display: flex; flex-wrap: wrap; gap: 2mm 9mm; margin: 0; }
.facts dt { color: var(--quiet); font-size: 12px; }
.facts dd { margin: 0; }
.look { background: var(--wash); border-left: 1.2mm solid var(--mark); padding: 3mm 5mm; margin-top: 7mm; }
.look h2 { border: 0; margin: 0 0 1mm; padding: 0; font-size: 17px; }
.look ul { margin: 0; padding-left: 5mm; }
.pictures { display: grid; grid-template-columns: 1fr 1fr; gap: 5mm; align-items: end; }
figure { margin: 0; text-align: center; break-inside: avoid; }
figure img { max-width: 100%; max-height: 88mm; }
figcaption { color: var(--quiet); font-size: 12.5px; }
table { border-collapse: collapse; width: 100%; }
th { text-align: left; font-weight: 400; color: var(--quiet); font-size: 12.5px; }
td, th { padding: 1.1mm 3mm 1.1mm 0; vertical-align: top; border-bottom: 0.2mm solid var(--rule); }
tr.dry td { color: var(--mark); font-style: italic; }
.letter { display: inline-block; min-width: 6.4mm; height: 6.4mm; line-height: 6mm;
  border: 0.3mm solid var(--ink); border-radius: 50%; text-align: center;
  font: 600 13px/5.9mm "Liberation Sans", Arial, sans-serif; }
li { margin-bottom: 1.4mm; }
article { border: 0.25mm solid var(--rule); border-radius: 1.5mm; padding: 4mm 5mm; margin-bottom: 5mm;
  break-inside: avoid; }
.sides { display: flex; flex-wrap: wrap; gap: 3mm 6mm; align-items: start; }
.sides .drawn { max-width: 100%; }
.sides dl { margin: 0; flex: 1 1 72mm; }
.sides dt { color: var(--quiet); font-size: 12.5px; margin-top: 1.8mm; }
.sides dt:first-child { margin-top: 0; }
.sides dd { margin: 0 0 0.6mm; }
svg.piece { display: block; font-family: "Liberation Sans", Arial, sans-serif;
  max-width: 100%; height: auto; }
.risks dl { margin: 0; display: grid; grid-template-columns: 1fr 1fr; gap: 3mm 8mm; }
.risks div { break-inside: avoid; }
.risks dt { font-weight: 600; }
.risks dd { margin: 0; }
.here { display: block; color: var(--mark); }
.strain img { display: block; max-width: 100%; max-height: 240mm; }
.care li { break-inside: avoid; }
@page { size: A4; margin: 14mm 13mm; }
@media print {
  body { font-size: 10.2pt; }
  main { max-width: none; padding: 0; }
  h2 { break-after: avoid; margin-top: 8mm; }
  .views, .order, .look, .care { break-inside: avoid; }
  h1 { font-size: 25pt; }
}
@media (max-width: 640px) { .pictures, .risks dl { grid-template-columns: 1fr; } }
"""
