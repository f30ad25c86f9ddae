//! The page's looks: ink on drawing paper, thin rules, figures in columns.
//!
//! The names begin with no class of the drawings, whose styles reach the whole page.

pub(super) const STYLE: &str = "\
:root{color-scheme:light dark;--paper:#fbfaf5;--sheet:#f2f0e7;--ink:#1b2733;--soft:#55626e;\
--rule:#d3d2c8;--line:#7d8891;--blue:#1f5f8b;--good:#1d6a49;--warn:#7d5200;--bad:#a3261b}
@media (prefers-color-scheme:dark){:root{--paper:#12181d;--sheet:#1a2229;--ink:#dde4ea;\
--soft:#9fadb9;--rule:#303c46;--line:#64737f;--blue:#84bde6;--good:#74c9a0;--warn:#e2b660;\
--bad:#ff958a}}
*{box-sizing:border-box}
body{margin:0 auto;max-width:1240px;padding:1.6rem 1.4rem 3rem;background:var(--paper);\
color:var(--ink);font:15px/1.5 'Helvetica Neue',Helvetica,Arial,'Liberation Sans',sans-serif}
a{color:var(--blue);text-underline-offset:2px}
a:focus-visible,.scroll:focus-visible{outline:2px solid var(--blue);outline-offset:2px}
.skip{position:absolute;left:-999px}.skip:focus{position:static}
h1{font-size:1.65rem;line-height:1.2;margin:0 0 .3rem;font-weight:600}
h2{font-size:1.15rem;margin:2.6rem 0 .7rem;padding-bottom:.25rem;border-bottom:1.5px solid \
var(--ink);font-weight:600}
h3{font-size:1rem;margin:1.4rem 0 .4rem}
p,ul,ol,dl{margin:.5rem 0;max-width:92ch}
li{margin:.15rem 0}
code,pre,.mono{font-family:'DejaVu Sans Mono',Consolas,monospace;font-size:.86em}
pre{background:var(--sheet);border:1px solid var(--rule);padding:.6rem .8rem;overflow-x:auto}
.about{color:var(--soft);margin:0 0 1rem}
.block{max-width:none;display:grid;grid-template-columns:repeat(6,1fr);border:1.5px solid var(--ink);margin:1rem 0}
.block div{padding:.35rem .6rem .45rem;border:.5px solid var(--line);min-width:0;grid-column:span 1}
.block .wide{grid-column:span 3}
.block dt{font-size:.7rem;letter-spacing:.04em;color:var(--soft)}
.block dd{margin:0;overflow-wrap:anywhere}
.verdict{border:1.5px solid var(--good);border-left-width:10px;padding:.7rem 1rem;margin:1rem 0;\
background:var(--sheet)}
.verdict.found{border-color:var(--bad);border-style:dashed;border-left-style:solid}
.verdict strong{font-size:1.2rem}
.verdict p{margin:.2rem 0}
.caution{border:1px solid var(--warn);border-left-width:10px;border-left-style:double;\
padding:.4rem 1rem;margin:1rem 0}
nav ol{list-style:none;display:flex;flex-wrap:wrap;gap:.2rem 1.2rem;padding:.6rem 0;margin:1rem 0 0;\
border-top:1px solid var(--rule);border-bottom:1px solid var(--rule);max-width:none}
.scroll{overflow-x:auto;margin:.8rem 0}
table{border-collapse:collapse;font-size:.9rem;width:100%}
caption{text-align:left;color:var(--soft);font-size:.85rem;padding:0 0 .35rem}
th,td{padding:.32rem .6rem;border-bottom:1px solid var(--rule);text-align:left;vertical-align:top}
thead th{border-bottom:1.5px solid var(--line);font-weight:600;font-size:.82rem;vertical-align:bottom}
tbody th{font-weight:600}
.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
.soft{color:var(--soft)}
.ok,.no,.bad{white-space:nowrap}
.ok{color:var(--good)}.no{color:var(--warn)}.bad{color:var(--bad);font-weight:700}
.bar{display:inline-block;width:90px;height:.7em;border:1px solid var(--line);vertical-align:-1px;\
margin-right:.3em;print-color-adjust:exact;-webkit-print-color-adjust:exact}
.bar i{display:block;height:100%;background:var(--blue)}
.bar.near i{background:repeating-linear-gradient(45deg,var(--warn) 0 3px,transparent 3px 5px)}
.bar.over{border-color:var(--bad)}.bar.over i{background:repeating-linear-gradient(90deg,\
var(--bad) 0 4px,transparent 4px 6px)}
.cells{table-layout:fixed;min-width:calc(8rem + var(--columns)*12rem)}
.cells thead td:first-child{width:8rem}
.cells td,.cells tbody th{border:1px solid var(--rule);font-size:.82rem}
.cells tbody th{font-size:.9rem}
.cells ul{list-style:none;margin:0;padding:0}
.cells li{display:grid;grid-template-columns:minmax(5.4rem,auto) 1fr;gap:0 .4rem;padding:.12rem 0;\
border-bottom:1px dotted var(--rule);margin:0}
.cells li:last-child{border-bottom:0}
.cells li>span:last-child{text-align:right;font-variant-numeric:tabular-nums}
.whole{white-space:nowrap}.cells caption{white-space:nowrap}
figure a{color:#1f5f8b}#drives table{font-size:.82rem}#drives th,#drives td{padding:.3rem .45rem}
.pairs{display:grid;grid-template-columns:7rem 1fr;gap:.1rem .8rem;font-size:.9rem}
.pairs dt{font-weight:600}.pairs dd{margin:0}
.cells .self{background:var(--sheet)}
.cells .to{display:none}
figure{margin:1rem 0;background:#fff;border:1px solid var(--rule);padding:.6rem;overflow-x:auto}
figure svg{max-width:100%;height:auto}
figcaption{color:#55626e;font-size:.85rem}
footer{margin-top:3rem;border-top:1px solid var(--rule);color:var(--soft);font-size:.85rem}
@media screen and (max-width:760px){body{padding:1rem .8rem 2rem;font-size:14.5px}
.block{grid-template-columns:repeat(2,1fr)}.block .wide{grid-column:span 2}
figure svg{max-width:none}}
@media screen and (max-width:760px){\
.cells,.cells tbody,.cells tr,.cells td,.cells tbody th{display:block;min-width:0;width:100%}
.cells thead,.cells .self{display:none}
.cells tbody th{background:var(--sheet);border-top:1.5px solid var(--ink);margin-top:.6rem}
.cells .to{display:block;font-weight:600}}
@page{size:A4;margin:14mm 13mm}
@page wide{size:A4 landscape;margin:12mm 13mm}
@media print{:root{--paper:#fff;--sheet:#f4f3ee;--ink:#111;--soft:#444;--rule:#bbb;--line:#777;\
--blue:#1f5f8b;--good:#1d6a49;--warn:#7d5200;--bad:#a3261b}
body{max-width:none;padding:0;font-size:9.2pt;line-height:1.4}
#drives{page:wide}#drives table{font-size:7.6pt}#drives th,#drives td{padding:.15rem .3rem}
#drives thead th{white-space:normal}
#drives th:last-child,#drives td:last-child{display:none}
thead,dt,caption,h3{break-after:avoid}nav,.skip{display:none}h2{break-after:avoid;margin-top:1.4rem}tr,figure,li{break-inside:avoid}
a{color:inherit;text-decoration:none}table{font-size:7.6pt}th,td{padding:.18rem .3rem}
.scroll{overflow:visible}figure svg{max-width:100%}pre{white-space:pre-wrap;overflow-wrap:anywhere}
.bar{width:48px}.cells{min-width:0}.cells thead td:first-child{width:5.5rem}
.cells td,.cells tbody th{font-size:7pt}.cells li{grid-template-columns:1fr}
.cells li>span:last-child{text-align:left}
.cells.many,.cells.many tbody,.cells.many tr,.cells.many td,.cells.many tbody th{display:block;\
width:100%}
.cells.many thead,.cells.many .self{display:none}.cells.many .to{display:block;font-weight:600}
.cells.many ul{columns:2}}
";
