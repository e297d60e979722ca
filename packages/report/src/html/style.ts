/** The look of an HTML report: one column of text, colours by role, light and dark, and a print-out that is neither. */

import { FONT_FAMILY } from '../charts/parts.js';
import { DARK, LIGHT, type Palette, ROLES, propertyOf } from '../palette.js';

function properties(palette: Palette): string {
  return ROLES.map((role) => `${propertyOf(role)}:${palette[role]}`).join(';');
}

/** @param fonts the font's files by weight, base64 */
export function styleSheet(fonts: readonly { readonly weight: number; readonly base64: string }[]): string {
  const faces = fonts.map(
    ({ weight, base64 }) =>
      `@font-face{font-family:"${FONT_FAMILY}";font-weight:${String(weight)};src:url(data:font/ttf;base64,${base64}) format("truetype")}`,
  );
  return `${faces.join('\n')}
:root{color-scheme:light dark;${properties(LIGHT)}}
@media (prefers-color-scheme:dark){:root{${properties(DARK)}}}
${RULES}
@media print{:root{color-scheme:light;${properties(LIGHT)};--page:#fff;--card:#fff}${PRINT_RULES}}
`;
}

const RULES = `
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0;background:var(--page);color:var(--ink);font:400 1rem/1.5 "${FONT_FAMILY}","Segoe UI",system-ui,sans-serif;overflow-wrap:break-word}
main,header,footer{max-width:68rem;margin:0 auto;padding:0 1.25rem}
header{padding-top:1.1rem;padding-bottom:.7rem;display:flex;flex-wrap:wrap;gap:.15rem 1.25rem;align-items:baseline}
h1{font-size:1rem;font-weight:600;margin:0}
header p{margin:0;color:var(--quiet);font-size:.9rem}
h2{font-size:1.3rem;line-height:1.25;font-weight:600;margin:0 0 .5rem}
h3{font-size:1.05rem;line-height:1.3;font-weight:600;margin:0 0 .25rem}
p{margin:.45rem 0}
b{font-weight:600}
.quiet,.unit{color:var(--quiet)}
.unit{font-weight:400}
.strong{font-weight:600}
.danger{color:var(--danger);font-weight:600}
.fault{color:var(--fault);font-weight:600}
.good{color:var(--good);font-weight:600}
.unseen{position:absolute;width:1px;height:1px;margin:-1px;overflow:hidden;clip-path:inset(50%);white-space:nowrap}
.top{display:grid;grid-template-columns:minmax(0,1.75fr) minmax(0,1fr);gap:0 2.25rem;align-items:start}
.verdict{border-top:5px solid var(--quiet);padding-top:.8rem}
.verdict.of-danger{border-color:var(--danger)}
.verdict.of-fault{border-color:var(--fault)}
.verdict.of-good{border-color:var(--good)}
.verdict .lead{font-size:clamp(1.25rem,1.02rem + 1vw,1.7rem);line-height:1.27;font-weight:600;margin:0 0 .5rem;text-wrap:pretty}
.first{background:var(--card);border-left:5px solid var(--ink);padding:.7rem 1rem .75rem;margin:.9rem 0}
.first h3{margin-bottom:.2rem}
.first ul{margin:0;padding-left:1.15rem}
.first li{margin:.3rem 0}
.cautions{border-top:5px solid var(--fault);background:var(--fault-tint);padding:.75rem 1rem .8rem}
.cautions h2{font-size:1.05rem}
.cautions ul{margin:0;padding-left:1.1rem;font-size:.92rem;line-height:1.42}
.cautions li{margin:.4rem 0}
.cautions .items span{font-weight:400;color:var(--ink)}
.plain-section{margin:2rem 0}
.items{margin:.5rem 0;padding-left:1.2rem}
.items>li{margin:.6rem 0}
.items ul{margin:.2rem 0 0;padding-left:1.05rem;font-size:.94rem;color:var(--quiet)}
.items ul li{margin:.16rem 0}
.items li b{color:var(--ink)}
.items .watch-for{color:var(--ink);background:var(--fault-tint);padding:.2rem .55rem;margin-left:-.55rem;list-style-position:inside}
.evidence{margin:2.25rem 0}
.evidence-head{display:flex;flex-wrap:wrap;gap:.5rem 1.5rem;justify-content:space-between;align-items:baseline}
details{border-top:1px solid var(--grid)}
details:last-of-type{border-bottom:1px solid var(--grid)}
summary{cursor:pointer;padding:.7rem .25rem;display:flex;gap:.3rem .9rem;flex-wrap:wrap;align-items:baseline;list-style:none}
summary::-webkit-details-marker{display:none}
summary::before{content:"";flex:none;width:.5rem;height:.5rem;border:solid var(--quiet);border-width:0 2px 2px 0;transform:rotate(-45deg) translate(-1px,-1px)}
details[open]>summary::before{transform:rotate(45deg) translate(-1px,-1px)}
summary h3{margin:0}
summary .hint{color:var(--quiet);font-size:.92rem}
.inside{padding:0 .25rem 1.2rem}
table{border-collapse:collapse;width:100%;margin:.7rem 0;font-size:.94rem;font-variant-numeric:tabular-nums}
th,td{padding:.35rem .9rem .35rem 0;text-align:left;vertical-align:top;border-bottom:1px solid var(--grid)}
th{font-weight:600}
.right{text-align:right}
figure{margin:1.3rem 0;background:var(--card);padding:.9rem 1rem .6rem;break-inside:avoid}
figcaption p{margin:.15rem 0 .5rem;max-width:50rem;color:var(--quiet)}
figcaption h2{font-size:1.15rem;margin-bottom:.15rem}
.plot{position:relative;touch-action:pan-y}
.plot[role=slider]{cursor:crosshair}
.canvas{overflow:hidden;min-height:6rem}
.canvas svg{display:block;max-width:100%}
.canvas .mark-rect.role-mark path{shape-rendering:crispEdges}
.tip{position:absolute;z-index:2;pointer-events:none;background:var(--ink);color:var(--card);font-size:.82rem;line-height:1.35;padding:.35rem .6rem;max-width:17rem;display:grid}
.tip[hidden]{display:none}
.zoom{display:flex;gap:.35rem;justify-content:flex-end}
button{font:inherit;font-size:.85rem;color:var(--ink);background:none;border:1px solid var(--quiet);border-radius:3px;padding:.2rem .65rem;min-height:2rem;cursor:pointer}
button:hover{background:var(--grid)}
.zoom button[data-zoom=whole]{visibility:hidden}
.zoomed .zoom button[data-zoom=whole]{visibility:visible}
:focus-visible{outline:3px solid var(--mark);outline-offset:2px}
footer{color:var(--quiet);font-size:.88rem;padding-top:.5rem;padding-bottom:2.5rem}
noscript p{background:var(--fault-tint);padding:.6rem 1rem}
@media (max-width:56rem){.top{grid-template-columns:minmax(0,1fr)}}
@media (max-width:40rem){
main,header,footer{padding-left:1rem;padding-right:1rem}
figure{margin-left:-1rem;margin-right:-1rem;padding-left:.75rem;padding-right:.5rem}
.inside{padding-left:0;padding-right:0}
thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
table,tbody,tr,td{display:block}
tr{border-bottom:1px solid var(--grid);padding:.4rem 0}
td,td.right{border:0;padding:.1rem 0;text-align:left;display:grid;grid-template-columns:10rem minmax(0,1fr);gap:.6rem}
td.empty{display:none}
td::before{content:attr(data-title);color:var(--quiet)}
button{min-height:2.4rem}
}
@media (prefers-reduced-motion:no-preference){summary::before{transition:transform .12s}}
`;

const PRINT_RULES = `
body{font-size:10pt}
main,header,footer{max-width:none;padding:0}
.zoom,#unfold,.tip{display:none}
.top{grid-template-columns:minmax(0,1.75fr) minmax(0,1fr)}
figure{padding:0;border:0}
.canvas svg{height:auto}
details,summary,.first,.cautions{break-inside:auto}
summary{break-after:avoid}
h2,h3,figcaption{break-after:avoid}
details::details-content{content-visibility:visible;height:auto}
@page{margin:14mm}
`;
