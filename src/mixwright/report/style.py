# SPDX-License-Identifier: Apache-2.0
"""How the page looks: a quiet document, light or dark as the reader's system is set, one accent colour.

Nothing is told by colour alone: what stands outside an interval is a diamond and bold words, too.
"""

#: Colours of the page by name, in light and in dark.
LIGHT = {
    "paper": "#fcfbf8", "ink": "#23211d", "soft": "#615c53", "hair": "#dedad1", "faint": "#f1eee7", "span": "#c9c3b6",
    "accent": "#9a3f10", "sounds": "#3d3a34", "kept-1": "#a39d91", "kept-2": "#8b857a", "kept-3": "#716c62",
    "kept-4": "#57534b",
}  # fmt: skip
DARK = {
    "paper": "#1b1a18", "ink": "#ebe7df", "soft": "#aaa498", "hair": "#3a3732", "faint": "#252320", "span": "#57524a",
    "accent": "#f2a272", "sounds": "#d8d2c6", "kept-1": "#6b665d", "kept-2": "#858077", "kept-3": "#a19b90",
    "kept-4": "#bcb6aa",
}  # fmt: skip


def _named(colours: dict[str, str]) -> str:
    return ";".join(f"--{name}:{colour}" for name, colour in colours.items())


#: What is drawn: on the page, and in pictures that stand alone.
SHAPES = """
svg text{fill:var(--soft);font-size:12px}
.grid{stroke:var(--hair);stroke-width:1}
.bound{stroke:var(--soft);stroke-width:1;stroke-dasharray:2 3}
.ground{fill:var(--hair)}
.kept-1{fill:var(--kept-1)}.kept-2{fill:var(--kept-2)}.kept-3{fill:var(--kept-3)}.kept-4{fill:var(--kept-4)}
.kept-5{fill:var(--sounds)}
.told{stroke:var(--accent);stroke-width:1.5}
.told.worst{stroke-width:4}
.span{stroke:var(--soft);stroke-width:1}
.interval{fill:var(--span)}
.stop{stroke:var(--soft);stroke-width:1.5}
.interval-line{stroke:var(--span);stroke-width:6}
.dot{fill:var(--ink);stroke:var(--paper);stroke-width:1}
.ring{fill:var(--paper);stroke:var(--ink);stroke-width:2}
.diamond{fill:var(--accent);stroke:var(--paper);stroke-width:1}
.zero{stroke:var(--ink);stroke-width:1.5}
.joint{stroke:var(--soft);stroke-width:1}
.step{stroke:var(--ink);stroke-width:2.5}
.step.short{stroke:var(--accent);stroke-width:5}
svg .told-by{fill:var(--ink);font-weight:650;paint-order:stroke;stroke:var(--paper);stroke-width:3px}
.left{fill:var(--sounds)}
.held{stroke:var(--sounds)}
.strokes{stroke:var(--sounds);stroke-dasharray:2.5 5;stroke-dashoffset:-4}
.gap{stroke:var(--paper);stroke-width:4}
.stop-in{stroke:var(--paper);stroke-width:2}
.taken-1{fill:var(--span);stroke:var(--soft);stroke-width:1}
.taken-2,.taken-3{fill:var(--faint);stroke:var(--soft);stroke-width:1}
.taken-rest{fill:none;stroke:var(--soft);stroke-width:1;stroke-dasharray:2 2}
svg .in-bar{fill:var(--ink);font-size:11px}
"""
_DOCUMENT = """
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0 auto;max-width:60rem;padding:0 1.25rem 4rem;background:var(--paper);color:var(--ink);
font:1.0625rem/1.5 "Iowan Old Style",Charter,"Palatino Linotype",Georgia,serif;overflow-wrap:break-word}
h1,h2,h3{line-height:1.2;text-wrap:balance}
h1{font-size:2.1rem;font-weight:500;margin:2.5rem 0 .4rem}
h2{font-size:1.35rem;font-weight:500;margin:3rem 0 .3rem;padding-top:.7rem;border-top:1px solid var(--hair)}
h3{font-size:1rem;font-weight:600;margin:1.3rem 0 .25rem}
p{margin:.35rem 0;max-width:44rem}
header p{font-size:1.15rem}
p{text-wrap:pretty}
a{color:var(--accent);text-underline-offset:.15em}
:focus-visible{outline:3px solid var(--accent);outline-offset:2px}
.skip{position:absolute;left:-200vw}
.skip:focus{position:static}
nav ul,.inline{display:flex;flex-wrap:wrap;gap:.2rem 1.1rem;list-style:none;margin:.6rem 0 0;padding:0}
nav a{display:inline-block;padding:.35rem 0}
ol.inline{list-style:decimal inside;font:.8125rem/1.4 system-ui,sans-serif}
code{font:.86em/1.4 ui-monospace,"DejaVu Sans Mono",Menlo,Consolas,monospace;overflow-wrap:anywhere}
.next{border-left:3px solid var(--accent);padding:.1rem 0 .1rem .8rem;margin:1rem 0}
.note,small{color:var(--soft)}
.note{font-size:.9375rem}
small{font-size:.92em}
b{font-weight:650}
.glance{list-style:none;margin:1rem 0;padding:0;columns:2 20rem;column-gap:2.5rem}
.glance li{break-inside:avoid;padding:.3rem 0;border-bottom:1px solid var(--hair)}
.off-mark{color:var(--accent);font-weight:650}
.chart{font:.8125rem/1.35 system-ui,sans-serif;font-variant-numeric:tabular-nums;margin:.6rem 0}
.rows{list-style:none;margin:0;padding:0}
.row{display:grid;align-items:center;column-gap:.9rem;border-bottom:1px solid var(--faint);min-height:1.75rem}
.row.axis{border:0}
.row.map{grid-template-columns:11rem 1fr}
.row.level{grid-template-columns:11rem 4.4rem 1fr 15.5rem}
.row.level.axis{grid-template-columns:16.3rem 1fr 15.5rem}
.heard .row.level{grid-template-columns:11rem 4.4rem 1fr 18.5rem}
.heard .row.level.axis{grid-template-columns:16.3rem 1fr 18.5rem}
.name{overflow:hidden;text-overflow:ellipsis;white-space:nowrap}
.figure{text-align:right}
.row.map.off .name{font-weight:650}
.row.off .figure,.row.off b{color:var(--accent)}
label{display:inline-flex;gap:.5rem;align-items:center;min-height:2rem}
label input{accent-color:var(--accent);width:1.1rem;height:1.1rem;margin:0}
.levels:has(#only-outside:checked) .row:not(.off,.axis){display:none}
svg{display:block;overflow:visible;min-width:0}
.narrow,.phone{display:none}
.row.band{grid-template-columns:7rem 1fr 22rem}
.plot{display:grid;grid-template-columns:2.4rem 1fr;column-gap:.5rem}
.unit{color:var(--soft);text-align:right}
.shapes{font:inherit;margin:0 0 .3rem}
.sample{display:inline-block;width:3rem;vertical-align:middle;margin-right:.5rem}
.worst{font-size:.9375rem;margin:.5rem 0;padding-left:1.6rem}
.worst li{margin:.2rem 0;max-width:44rem}
.by-band details{margin-left:1rem}
.by-band+.by-band{border-top:1px solid var(--hair)}
.cards{list-style:none;margin:0;padding:0;display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,25rem),1fr));
gap:.8rem}
.card{border:1px solid var(--hair);border-radius:3px;padding:.6rem .9rem}
.card.proposed{border-style:dashed;border-color:var(--soft)}
.card .do{font-size:1.125rem}
.card p{font-size:.9688rem}
.cards:has(.accepted){row-gap:0}
.card.accepted{border-width:0 0 1px;border-radius:0;padding:0}
.card.accepted summary{color:var(--ink);padding:.35rem 0}
.row.proof{grid-template-columns:7.5rem minmax(0,1fr) 9.5rem}
.receipt .chart{margin-right:1rem}
.id{margin-top:.5rem}
table{border-collapse:collapse;font:.8125rem/1.4 system-ui,sans-serif;font-variant-numeric:tabular-nums;margin:.5rem 0}
th,td{text-align:left;padding:.25rem .9rem .25rem 0;border-bottom:1px solid var(--hair);vertical-align:top}
th{font-weight:600}
.scroll{overflow-x:auto}
.scroll table{min-width:42rem}
summary{cursor:pointer;padding:.4rem 0;color:var(--accent)}
dl{display:grid;grid-template-columns:max-content minmax(0,1fr);gap:.2rem 1rem;margin:.6rem 0;
font-variant-numeric:tabular-nums}
dt{color:var(--soft)}
dd{margin:0;overflow-wrap:anywhere}
footer{margin-top:3rem;border-top:1px solid var(--hair);padding-top:.7rem;font-size:.9rem;color:var(--soft)}
.unseen{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
.row{position:relative}
"""
_MEDIA = """
@media (min-width:46.01rem) and (max-width:60rem){
.row.level,.heard .row.level{grid-template-columns:11rem 4.4rem 1fr;padding:.3rem 0}
.row.level svg{grid-area:2/1/3/-1}
.row.level.axis,.heard .row.level.axis{grid-template-columns:1fr}.row.level.axis>span{display:none}
.row.level.axis svg{grid-area:1/1}
.row.band{grid-template-columns:7rem 1fr 18rem}
}
@media (max-width:46rem){
body{padding:0 .9rem 3rem}
h1{font-size:1.7rem;margin-top:1.5rem}
.wide,.plot.wide{display:none}.narrow{display:inline}.phone{display:flex}
.row.map{grid-template-columns:6.2rem 1fr;column-gap:.6rem}
.row.map .name small{display:none}
.row.band{grid-template-columns:6.2rem 1fr;column-gap:.6rem}.row.band>span:last-of-type{grid-column:1/-1}
.row.band.axis>span:first-child{grid-column:1}
.row.level,.heard .row.level{grid-template-columns:1fr auto;padding:.3rem 0}
.row.level .name{grid-area:1/1}.row.level .figure{grid-area:1/2}
.row.level svg,.row.level>span:last-of-type{grid-column:1/-1}
.row.level.axis,.heard .row.level.axis{grid-template-columns:1fr}.row.level.axis>span{display:none}
}
@media (forced-colors:active){
.dot,.diamond,.left,[class^=kept-]{fill:CanvasText}.interval{fill:GrayText}
.ground{fill:none;stroke:GrayText;vector-effect:non-scaling-stroke}
.step,.step.short,.zero,.told{stroke:CanvasText}[class^=taken-]{fill:Canvas;stroke:CanvasText}
}
@media print{nav,.skip,label{display:none}body{max-width:none}
details:not([open],.card *){display:none}.row,.card,.worst li{break-inside:avoid}}
"""
#: The colours by the reader's system.
COLOURS = f"""
:root{{color-scheme:light dark;{_named(LIGHT)}}}
@media (prefers-color-scheme:dark){{:root{{{_named(DARK)}}}}}"""
STYLE = f"""{COLOURS}
{_DOCUMENT}{SHAPES}{_MEDIA}"""
