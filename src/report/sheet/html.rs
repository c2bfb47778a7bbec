//! The sheet as one page that needs nothing else: no network, no script. On
//! paper it takes one page or two.

use maud::{DOCTYPE, Markup, PreEscaped, html as markup};

use super::layout;
use super::{Block, Section, Sheet};
use crate::report::pictures;

/// How every page that this program made begins, whatever its version.
pub const MADE_BY_US: &str = "<!DOCTYPE html><html lang=\"en\"><head><meta charset=\"utf-8\">\
                              <meta name=\"generator\" content=\"tapewright";

/// What must not be overlooked.
pub(super) const SIMULATED: &str =
    "SIMULATED: every figure on this sheet is invented; no machine was measured.";

const STYLE: &str = "\
*{box-sizing:border-box}\
body{margin:0 auto;padding:1rem;max-width:60rem;background:var(--paper);color:var(--ink);\
font:1rem/1.4 system-ui,'DejaVu Sans','Liberation Sans',Arial,sans-serif;overflow-wrap:anywhere}\
h1{font-size:1.7rem;line-height:1.2;margin:.2rem 0}\
h2{font-size:1.05rem;margin:1.1rem 0 .35rem;border-bottom:2px solid var(--faint)}\
p,ul,dl{margin:.35rem 0}ul{padding-left:1.2rem}\
header p{color:var(--soft)}\
dl{display:grid;grid-template-columns:minmax(6rem,max-content) 1fr;gap:.1rem .9rem}\
dt{color:var(--soft)}dd{margin:0}\
.lead{font-size:1.12rem;margin:.6rem 0}.lead dt{color:var(--ink);font-weight:600}\
.simulated{border:3px dashed var(--before);color:var(--before);font-weight:700;padding:.4rem .7rem;margin:.5rem 0}\
.pictures{display:grid;grid-template-columns:1fr;gap:.8rem}\
figure{margin:0}figcaption{color:var(--soft);font-size:.85rem}\
svg{display:block;width:100%;height:auto;max-width:46rem}\
table{border-collapse:collapse;width:100%;font-size:.9rem}\
th,td{text-align:left;vertical-align:top;padding:.12rem .7rem .12rem 0;border-bottom:1px solid var(--faint)}\
thead th{color:var(--soft);font-weight:600}tbody th{font-weight:400}\
td{font-variant-numeric:tabular-nums}\
footer{color:var(--soft);font-size:.8rem;margin-top:1rem;border-top:1px solid var(--faint);padding-top:.3rem}\
@media (min-width:44rem){.many{grid-template-columns:1fr 1fr}}\
@media print{@page{margin:7.5mm 10mm}\
body{padding:0;max-width:none;font-size:8.3pt;line-height:1.25}\
h1{font-size:14pt}h2{font-size:10pt;margin:1.8mm 0 .6mm;break-after:avoid}\
.lead{font-size:9.6pt}p,ul,dl{margin:.6mm 0}\
figure,tr,li,.simulated{break-inside:avoid}\
.pictures{gap:1.2mm 6mm}.many{grid-template-columns:1fr 1fr}\
.one svg{max-height:29mm}.many svg{max-height:28mm}\
header dl{grid-template-columns:max-content 1fr max-content 1fr}\
.beside{display:grid;grid-template-columns:4fr 5fr;gap:0 6mm}.beside h2{grid-column:1/3}\
.beside>*{min-width:0}\
table,figcaption,footer{font-size:.91em}.dense{font-size:7.8pt}.dense .lead{font-size:8.8pt}\
.dense .many svg{max-height:27mm}.beside td:nth-child(2){white-space:nowrap}th,td{padding:.15mm 3mm .15mm 0}}";

/// The page.
pub fn html(sheet: &Sheet<'_>) -> String {
    let title = layout::title(sheet);
    let simulated = sheet.job.simulated;
    let page = markup! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="generator" content={ "tapewright " (env!("CARGO_PKG_VERSION")) };
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { @if simulated { "SIMULATED: " } (title) }
                style { (PreEscaped(pictures::of_page())) (PreEscaped(STYLE)) }
            }
            body class=[(sheet.turns.len() + sheet.again.len() > 1).then_some("dense")] {
                header {
                    @if let Some(workshop) = layout::workshop(sheet) { p { (workshop) } }
                    h1 { (title) }
                    @if simulated { p class="simulated" { (SIMULATED) } }
                    (facts(&layout::head(sheet), ""))
                }
                main { @for section in layout::sections(sheet) { (of_section(&section)) } }
                footer {
                    @if simulated { strong { "SIMULATED. " } }
                    (layout::foot(sheet))
                }
            }
        }
    };
    page.into_string() + "\n"
}

fn of_section(section: &Section) -> Markup {
    markup! {
        section class=[section.is_of_two().then_some("beside")] {
            h2 { (section.title) }
            @for block in &section.blocks {
                @match block {
                    Block::Facts(all) => { (facts(all, "")) }
                    Block::Lead(all) => { (facts(all, "lead")) }
                    Block::Table(head, rows) => { (table(head, rows)) }
                    Block::Points(all) => { ul { @for one in all { li { (one) } } } }
                    Block::Pictures(all) => {
                        div class={ "pictures " (if all.len() == 1 { "one" } else { "many" }) } {
                            @for picture in all {
                                figure { (picture.inline()) figcaption { (picture.title) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn facts(all: &[[String; 2]], class: &str) -> Markup {
    markup! {
        @if !all.is_empty() {
            dl class=[Some(class).filter(|it| !it.is_empty())] {
                @for [what, is] in all { dt { (what) } dd { (is) } }
            }
        }
    }
}

fn table(head: &[String], rows: &[Vec<String>]) -> Markup {
    markup! {
        table {
            thead { tr { @for one in head { th scope="col" { (one) } } } }
            tbody {
                @for row in rows {
                    tr {
                        @for (nth, cell) in row.iter().enumerate() {
                            @if nth == 0 { th scope="row" { (cell) } } @else { td { (cell) } }
                        }
                    }
                }
            }
        }
    }
}
