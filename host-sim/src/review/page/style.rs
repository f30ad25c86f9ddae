//! The page's looks: ink on drawing paper, thin rules, figures in columns.
//!
//! The names begin with no class of the drawings, whose styles reach the whole page.

use crate::picture::palette::{self, PRINT, ROLES, Role};

/// Names of colours in the style below, and the roles of the palette that they are.
const NAMES: [(&str, &str); 9] = [
    ("paper", "paper"),
    ("sheet", "panel"),
    ("ink", "ink"),
    ("soft", "soft"),
    ("rule", "grid"),
    ("line", "line"),
    ("blue", "power"),
    ("good", "fine"),
    ("warn", "warn"),
];

/// Variables of the page, from the palette of the pictures.
fn variables(colour: impl Fn(&Role) -> &'static str) -> String {
    let value = |role: &str| ROLES.iter().find(|r| r.0 == role).map_or("", &colour);
    let named = NAMES.iter().chain([&("bad", "alarm")]);
    named.map(|(name, role)| format!("--{name}:{};", value(role))).collect()
}

/// The whole style: the palette's, that of the pictures, that of the page. `foot` stands on every
/// sheet of paper, so that no sheet is taken for one of another review; it holds no quotes.
pub(super) fn style(foot: &str) -> String {
    let print = |role: &Role| PRINT.iter().find(|p| p.0 == role.0).map_or(role.1, |p| p.1);
    format!(
        ":root{{color-scheme:light dark;{}}}\n@media screen and (prefers-color-scheme:dark){{\
         :root{{{}}}}}\n{}\n{LOOKS}@media print{{:root{{color-scheme:light;{}}}}}\n\
         @page{{@bottom-left{{content:\"{foot}\";font-size:7pt;white-space:nowrap}}\
         @bottom-right{{content:counter(page) \" of \" counter(pages);font-size:7pt;white-space:nowrap}}}}\n",
        variables(|role| role.1),
        variables(|role| role.2),
        palette::style(),
        variables(print),
    )
}

const LOOKS: &str = "\
*{box-sizing:border-box}
body{margin:0 auto;max-width:1240px;padding:1.6rem 1.4rem 3rem;background:var(--paper);\
color:var(--ink);font:15px/1.5 'Helvetica Neue',Helvetica,Arial,'Liberation Sans',sans-serif}
a{color:var(--blue);text-underline-offset:2px}
a:focus-visible,.scroll:focus-visible,.look:focus-visible{outline:2px solid var(--blue);outline-offset:2px}
.skip{position:absolute;left:-999px}.skip:focus{position:static}
h1{font-size:1.65rem;line-height:1.2;margin:0 0 .3rem;font-weight:600}
h2{font-size:1.15rem;margin:2.6rem 0 .7rem;padding-bottom:.25rem;border-bottom:1.5px solid \
var(--ink);font-weight:600}
h3{font-size:1rem;margin:1.4rem 0 .4rem}
p,ul,ol,dl{margin:.5rem 0;max-width:92ch}
li{margin:.15rem 0}
code,pre,.mono{font-family:'DejaVu Sans Mono',Consolas,monospace;font-size:.86em}
pre{background:var(--sheet);border:1px solid var(--rule);padding:.6rem .8rem;overflow-x:auto}
pre.line{white-space:pre-wrap;overflow-wrap:anywhere}
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
caption span{display:inline-block;position:sticky;left:0;max-width:calc(100vw - 2rem)}caption .when{position:static}
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
.cells li{display:flex;flex-wrap:wrap;justify-content:space-between;gap:0 .4rem;padding:.12rem 0;\
border-bottom:1px dotted var(--rule);margin:0}
.cells li:last-child{border-bottom:0}
.cells li>span:last-child{text-align:right;margin-left:auto;font-variant-numeric:tabular-nums}
.whole{white-space:nowrap}
#drives table{font-size:.82rem}#drives th,#drives td{padding:.3rem .35rem}
#drives thead th,#drives thead th .sort{white-space:normal}
.pairs{display:grid;grid-template-columns:7rem minmax(0,1fr);gap:.1rem .8rem;font-size:.9rem}
.pairs dt{font-weight:600}.pairs dd{margin:0;overflow-wrap:anywhere}
.cells .self{background:var(--sheet)}
.cells .to,.paper{display:none}
figure{margin:1rem 0;border:1px solid var(--rule);padding:.6rem}
.scroll,.look{scrollbar-width:thin;background:linear-gradient(90deg,var(--paper) 40%,transparent) 0 0/28px 100% no-repeat local,\
linear-gradient(-90deg,var(--paper) 40%,transparent) 100% 0/28px 100% no-repeat local,\
linear-gradient(90deg,var(--line),transparent) 0 0/9px 100% no-repeat scroll,\
linear-gradient(-90deg,var(--line),transparent) 100% 0/9px 100% no-repeat scroll}
.look{overflow-x:auto}
.look svg>rect:first-of-type{fill:none}
figure .look svg{width:100%;min-width:calc(var(--w)*.8px);max-width:calc(var(--w)*1px)}
.pictures{display:flex;flex-wrap:wrap;gap:.6rem;align-items:flex-start;margin:.6rem 0}
.pictures figure{flex:1 1 calc(var(--w)*.8px);min-width:0;max-width:calc(var(--w)*1px + 1.4rem);margin:0}
figure svg{max-width:100%;height:auto;display:block}
figcaption{color:var(--soft);font-size:.85rem}
h4{font-size:.95rem;margin:1.2rem 0 .4rem}
button,input{font:inherit;color:inherit}
button:focus-visible,input:focus-visible,pre:focus-visible,main:focus-visible{outline:2px solid \
var(--blue);outline-offset:2px}
button.sort{background:none;border:0;padding:0;text-align:inherit;cursor:pointer;font-weight:600;\
text-decoration:underline dotted;text-underline-offset:3px}
[aria-sort=ascending] .sort::after{content:\" \\2191\"}[aria-sort=descending] .sort::after{content:\" \\2193\"}
.filter{display:block;font-size:.85rem;color:var(--soft);margin:.6rem 0 -.4rem}
.filter input{background:var(--sheet);border:1px solid var(--line);padding:.15rem .4rem;width:14rem;\
max-width:60%}
.scrub{margin:.4rem 0;font-size:.88rem}.scrub label{display:flex;gap:.6rem;align-items:center}
.scrub input{flex:1;min-width:8rem;accent-color:var(--blue)}
.scrub output{display:block;font-weight:600;font-variant-numeric:tabular-nums}
.scrub button{background:var(--sheet);border:1px solid var(--line);border-radius:3px;\
padding:.15rem .5rem;margin:.25rem .35rem 0 0;cursor:pointer}
.motion{border-top:1px solid var(--rule);margin-top:1.2rem}
.motion .cursor{stroke:var(--bad);stroke-width:2}
.pair{display:grid;grid-template-columns:minmax(0,3fr) minmax(0,2fr);gap:1rem;align-items:start}
.steps table,.readout{font-size:.82rem}.readout th,.readout td,.steps tbody th,.steps td{padding:.12rem .4rem;font-weight:400}
.plan{font-size:.8rem;margin:0 0 .3rem;color:var(--soft)}
.histograms,.maps,.cards{display:grid;gap:.8rem;grid-template-columns:repeat(auto-fill,\
minmax(250px,1fr))}
.cards{grid-template-columns:minmax(0,1fr)}
.maps{grid-template-columns:repeat(auto-fill,minmax(min(100%,420px),1fr))}
.histograms figure,.maps figure{margin:0}
.card{border:1px solid var(--line);padding:.2rem .9rem .6rem;min-width:0}
.card .pairs,.rule .pairs{grid-template-columns:8.5rem minmax(0,1fr)}
.rule{border-top:1px solid var(--rule);margin-top:1rem}.rule h3{margin-top:.8rem}
.rule ul{margin:0;padding-left:1.1rem}
.code pre{font-size:.78rem;line-height:1.35}
.verdict.open{border-color:var(--warn);border-style:double;border-left-style:solid}
footer{margin-top:3rem;border-top:1px solid var(--rule);color:var(--soft);font-size:.85rem}
@media screen and (max-width:760px){body{padding:1rem .8rem 2rem;font-size:14.5px}
.block{grid-template-columns:repeat(2,1fr)}.block .wide{grid-column:span 2}
.pair{grid-template-columns:minmax(0,1fr)}
.card .pairs,.rule .pairs{grid-template-columns:minmax(0,1fr)}.rule .pairs dt{margin-top:.3rem}
h3,h4,li,p{overflow-wrap:anywhere}
}
@media screen and (max-width:760px){\
.cells,.cells tbody,.cells tr,.cells td,.cells tbody th{display:block;min-width:0;width:100%}
.cells thead,.cells .self{display:none}
.cells tbody th{background:var(--sheet);border-top:1.5px solid var(--ink);margin-top:.6rem}
.cells .to{display:block;font-weight:600}}
@page{size:A4;margin:13mm 13mm 15mm}
@media print{html{font-size:8.4pt}
body{max-width:none;padding:0;font-size:8.4pt;line-height:1.3}
nav,.skip,.filter,.scrub,.readout,.code,.pair,.steps{display:none}.paper{display:block}
h1,h2,h3,h4,h2+p,h3+p,thead,caption{break-after:avoid}tr,figure,p,li,.pairs dd{break-inside:avoid}
h2{margin:1.3rem 0 .4rem}h3{margin:.8rem 0 .2rem}h4{margin:.6rem 0 .2rem}
p,ul,ol,dl{margin:.25rem 0;max-width:none}ul,ol{padding-left:1.2rem}figure{margin:.4rem 0;padding:.25rem}
.verdict,.caution,.block{margin:.5rem 0;break-inside:avoid}
a{color:inherit;text-decoration:none}pre{padding:.25rem .4rem;margin:.25rem 0;white-space:pre-wrap;\
overflow-wrap:anywhere}
table,.data,#drives table{font-size:6.9pt;line-height:1.22}th,td,#drives th,#drives td{padding:.1rem .3rem}
thead th,caption{font-size:6.9pt}thead th,thead th .sort,.cells caption{white-space:normal!important}
.scroll,.look{overflow:visible;background:none}.scroll{margin:.35rem 0}
caption span{display:inline;position:static}
figure .look svg{width:auto;min-width:0;max-width:100%}
button.sort{text-decoration:none}tr[hidden]{display:table-row}
.bar{width:40px}
#drives table{font-size:6.1pt}#drives th:last-child,#drives td:last-child{display:none}
#drives th,#drives td{padding:.08rem .2rem}
.cells{min-width:0}.cells thead td:first-child{width:5rem}
.cells td,.cells tbody th,.cells .plan{font-size:6.4pt;line-height:1.2}.cells td,.cells tbody th{padding:.15rem .25rem}
.cells li{display:block;padding:.04rem 0}
.cells.many,.cells.many tbody,.cells.many tr,.cells.many td,.cells.many tbody th{display:block;\
width:100%}
.cells.many tr{break-inside:auto}.cells.many td{break-inside:avoid}
.cells.many thead,.cells.many .self{display:none}.cells.many .to{display:block;font-weight:600}
.cells.many ul{columns:4}
.cards{gap:.4rem}.card{padding:.1rem .4rem .2rem}.card h3{margin:.1rem 0}
.pictures{gap:.3rem}.pictures figure{flex-basis:calc(var(--w)*.55px);break-inside:avoid}
.card figure svg{max-height:64mm}.card figure+figure svg{max-height:42mm}
.card dl.pairs{display:block;margin:0}.card .pairs dt,.card .pairs dd{display:inline;font-size:7pt}
.card .pairs dt::after{content:\": \"}.card .pairs dd::after{content:\"; \"}.card .pairs dd:last-child::after{content:\"\"}
.card figure{margin:.2rem 0;border:0;padding:0}figcaption{font-size:6.9pt}
.maps{grid-template-columns:repeat(2,1fr);gap:.3rem}.maps figure:only-child svg{max-height:62mm}
.maps.three{grid-template-columns:repeat(3,1fr)}
.histograms{grid-template-columns:repeat(4,1fr);gap:.25rem}
.motion{break-before:page;break-inside:avoid;border:0;margin:0 0 .5rem}.motion svg{max-height:240mm;margin:0 auto}
.motion h4{margin:0}.motion .cursor{display:none}
#states{max-height:200mm;margin:0 auto}
.rules{columns:2;column-gap:5mm}.rule{margin:0 0 .4rem;break-inside:avoid}.rule h3{margin:.25rem 0 0}
.rule>p{font-weight:600;font-size:7.2pt;break-after:avoid}.rule .pairs{grid-template-columns:4.2rem minmax(0,1fr);font-size:7pt;\
line-height:1.22}.rule li{margin:0}
.card,.histograms figure,.maps figure{break-inside:avoid}
thead th,thead th .sort{white-space:normal!important}}
";
