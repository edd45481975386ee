"""How the setup sheet looks: dark ink on white, large enough to read over a machine, the same on paper."""

from pathgen.base.picture import INK

PAPER = "#ffffff"
QUIET = "#4b5654"
RULE = "#b9c2bf"
TINT = "#f3f5f2"
GOOD = "#1e5136"
BAD = "#8a2110"
DOUBT = "#6b4a00"
STOP_TINT = "#fbf1ea"
LINK = "#17474f"

TEXT_ON_GROUND = (
    (INK, PAPER), (QUIET, PAPER), (LINK, PAPER), (INK, TINT), (QUIET, TINT), (LINK, TINT), (INK, STOP_TINT),
    (BAD, STOP_TINT), (BAD, PAPER), (PAPER, GOOD), (PAPER, BAD), (PAPER, DOUBT), (PAPER, INK),
)
"""Every pair of colours in which the page shows words: (words, ground)."""

STYLE = f"""
:root {{ color-scheme: only light; }}
* {{ box-sizing: border-box; }}
html {{ font: 112.5%/1.5 system-ui, sans-serif; color: {INK}; background: {PAPER};
  overflow-wrap: break-word; -webkit-text-size-adjust: 100%; print-color-adjust: exact; }}
body {{ margin: 0; }}
main {{ max-width: 54rem; margin: 0 auto; padding: 1.2rem 1rem 3rem; }}
h1 {{ font-size: 2rem; line-height: 1.15; margin: 0 0 .8rem; }}
h2 {{ font-size: 1.3rem; line-height: 1.25; margin: 2.6rem 0 .8rem; padding-top: .5rem; border-top: 3px solid {INK}; }}
h3 {{ font-size: 1.15rem; line-height: 1.3; margin: 1.2rem 0 .4rem; }}
h4 {{ font-size: 1rem; margin: .9rem 0 .2rem; }}
p, ul, ol {{ margin: .4rem 0 .8rem; }}
ul, ol {{ padding-left: 1.4rem; }}
li {{ margin: .2rem 0; }}
a {{ color: {LINK}; }}
code {{ font: .95em ui-monospace, monospace; }}
.kicker {{ color: {QUIET}; margin: 0; }}
.verdict {{ padding: .6rem .9rem; font-weight: 600; color: {PAPER}; }}
.verdict a {{ color: {PAPER}; }}
.good {{ background: {GOOD}; }}
.bad {{ background: {BAD}; }}
.doubt {{ background: {DOUBT}; }}
dl {{ display: grid; grid-template-columns: max-content 1fr; gap: .15rem 1rem; margin: .8rem 0; }}
dt {{ color: {QUIET}; }}
dd {{ margin: 0; min-width: 0; }}
figure {{ margin: 1rem 0; }}
figure svg, figure img {{ display: block; width: 100%; height: auto; }}
figcaption {{ color: {QUIET}; font-size: .9rem; }}
.scroll {{ overflow-x: auto; container-type: inline-size; }}
.scroll > div {{ width: min-content; min-width: 100%; }}
/* shown only where what is below it is wider than its window: that much padding, at most one line */
.hint {{ position: sticky; left: 0; width: 100cqw; height: 0; margin: 0; overflow: hidden; font-size: .9rem;
  padding-top: clamp(0px, (100% - 100cqw - 1px) * 999, 1.5em); }}
.hint span {{ position: absolute; bottom: 0; }}
.scroll td {{ white-space: nowrap; }}
.scroll td:first-child {{ white-space: normal; }}
#budget td:first-child {{ min-width: 9.5rem; }}
.wide .scroll > div {{ width: auto; min-width: 44rem; }}
.whole svg, .whole img {{ max-height: 32rem; object-fit: contain; }}
.paper {{ display: none; }}
.small svg {{ max-width: 34rem; }}
.copy {{ background: {TINT}; padding: .5rem .8rem; overflow-x: auto; user-select: all; }}
.sized {{ display: flex; flex-wrap: wrap; gap: 0 1.2rem; }}
.sized figure {{ max-width: 100%; margin: .6rem 0; }}
.pair {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(min(20rem, 100%), 1fr)); gap: 0 1.5rem; }}
table {{ border-collapse: collapse; font-variant-numeric: tabular-nums; width: 100%; margin: .4rem 0 1rem; }}
th, td {{ text-align: left; vertical-align: top; padding: .3rem .6rem .3rem 0; border-bottom: 1px solid {RULE}; }}
th {{ color: {QUIET}; font-weight: 600; font-size: .9rem; }}
.swatch {{ display: inline-block; width: 1.6em; height: 1.1em; margin-right: .5em; vertical-align: -.15em;
  border: 1px solid {INK}; }}
.cautions ul {{ background: {STOP_TINT}; border-left: 6px solid {BAD}; padding: .6rem .9rem .6rem 2rem; }}
.contents {{ columns: 22rem auto; column-gap: 2.5rem; padding-left: 2rem; }}
.contents li {{ break-inside: avoid; }}
article dl {{ grid-template-columns: max-content 1fr max-content 1fr; }}
article {{ background: {TINT}; padding: .3rem 1rem .8rem; margin: 1.2rem 0; }}
article svg, article img {{ max-height: 18rem; object-fit: contain; }}
article figure {{ background: {PAPER}; padding: .4rem; margin: .6rem 0 0; }}
.order {{ display: inline-block; min-width: 1.9em; margin-right: .6em; text-align: center; color: {PAPER};
  background: {INK}; padding: .05em .35em; }}
.file {{ margin: 0; color: {QUIET}; overflow-wrap: anywhere; }}
.tick {{ list-style: none; padding: 0; }}
.tick li {{ padding-left: 1.9rem; position: relative; }}
.tick li::before {{ content: ""; position: absolute; left: 0; top: .25em; width: 1.05rem; height: 1.05rem;
  border: 2px solid {INK}; background: {PAPER}; }}
.own {{ color: {BAD}; }}
.stop {{ background: {STOP_TINT}; border: 2px solid {BAD}; padding: .1rem .9rem .3rem; margin: .8rem 0 0; }}
.forbid b {{ color: {BAD}; }}
footer {{ color: {QUIET}; margin-top: 3rem; font-size: .9rem; }}
@media (max-width: 34rem) {{
  dl, article dl {{ grid-template-columns: 1fr; gap: 0; }}
  dd {{ margin-bottom: .4rem; }}
}}
@page {{ margin: 12mm; }}
@media print {{
  html {{ font-size: 10.5pt; }}
  main {{ max-width: none; padding: 0; }}
  .scroll {{ overflow: visible; container-type: normal; }}
  .scroll td {{ white-space: normal; }}
  .scroll table {{ font-size: .8em; }}
  th, td {{ padding-top: .12rem; padding-bottom: .12rem; }}
  .scroll th, .scroll td {{ padding-right: .3rem; }}
  .scroll td.size {{ white-space: nowrap; }}
  .scroll th {{ font-size: inherit; }}
  .scroll pre {{ font-size: .62em; white-space: pre-wrap; }}
  .scroll > div, .wide .scroll > div {{ width: auto; min-width: 0; }}
  .copy {{ overflow: visible; white-space: pre-wrap; overflow-wrap: anywhere; }}
  .hint {{ display: none; }}
  .whole svg, .whole img {{ max-height: 100mm; }}
  .screen {{ display: none; }}
  .paper {{ display: block; }}
  .paper svg {{ margin-bottom: 1mm; max-width: 100%; }}
  .bar {{ break-after: avoid; }}
  article, figure, table, tr, p, li, dl, pre, .contents, .stop, .cautions ul {{ break-inside: avoid; }}
  #warnings ul {{ break-inside: auto; }}
  h2, h3, h4, p:has(+ :is(figure, table, .scroll, .contents, .pair, .sized, .copy, .tick)) {{ break-after: avoid; }}
  h2 {{ margin-top: 1.4rem; }}
  article svg, article img {{ max-height: 32mm; }}
  article:has(.tick li:nth-child(12)) :is(svg, img) {{ max-height: 20mm; }}
  article:has(.tick li:nth-child(5)):has(.stop p:nth-of-type(5)) :is(svg, img) {{ max-height: 17mm; }}
  article dl, article ol {{ margin: .3rem 0; }}
  article {{ margin: .6rem 0; font-size: .9em; line-height: 1.2; padding: .1rem .8rem .4rem; }}
  article p {{ margin: .15rem 0; }}
  article li {{ margin: .12rem 0; }}
  article .tick li::before {{ top: .1em; width: .75rem; height: .75rem; }}
  article .tick + * {{ margin-top: .5rem; }}
  article h3, article h4 {{ margin: .3rem 0 .1rem; }}
  article figure {{ margin: .2rem 0 0; padding: .2rem; }}
  a {{ text-decoration: none; }}
  .pair {{ grid-template-columns: 1fr 1fr; }}
  .shown:has(img) {{ display: grid; grid-template-columns: 3fr 2fr; gap: 0 1rem; align-items: start; }}
  .sized {{ display: block; word-spacing: 4mm; orphans: 1; widows: 1; }}
  .sized figure {{ display: inline-block; vertical-align: top; word-spacing: normal; }}
  article {{ border: 1px solid {RULE}; background: {PAPER}; }}
  footer {{ margin-top: .6rem; break-before: avoid; }}
}}
"""
"""The style sheet of the page."""
