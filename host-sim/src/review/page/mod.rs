//! The review as one page: no network, no script; screen, small screen, dark screen, paper.

mod drives;
mod evidence;
mod front;
mod html;
mod kinematics;
mod matrix;
mod method;
mod style;

use super::files::Kept;
use super::report::Report;
use html::{escaped, section};

/// What all parts of the page look at.
struct Page<'a> {
    report: &'a Report,
    kept: &'a Kept,
}

/// The page `index.html`.
pub(super) fn index_html(report: &Report, kept: &Kept) -> String {
    let page = Page { report, kept };
    let d = &report.subject.driveline;
    let sections: Vec<(&str, &str, String)> = vec![
        ("findings", "Findings", page.findings()),
        ("transitions", "Transitions", page.matrix()),
        ("rules", "Rules and margins", page.rules()),
        ("refusals", "Refusals", page.refusals()),
        ("arrangements", "Arrangements", page.arrangements()),
        ("lock-sets", "Lock sets", page.lock_sets()),
        ("conflicts", "Conflicts and overlaps", page.conflicts()),
        ("diagram", "State diagram", page.diagram()),
        ("table", "Limits of the table", page.table_limits()),
        ("drives", "Drives", page.drives()),
        ("reproduce", "How to reproduce this", page.reproduce()),
        ("limits", "What this review does not show", page.limits()),
    ];
    let links: String = sections
        .iter()
        .enumerate()
        .map(|(i, (id, title, _))| format!("<li><a href=\"#{id}\">{} {title}</a></li>\n", i + 1))
        .collect();
    let body: String = sections
        .iter()
        .enumerate()
        .map(|(i, (id, title, content))| section(id, &format!("{} {title}", i + 1), content))
        .collect();
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; \
         style-src 'unsafe-inline'; img-src 'self'\">\n\
         <title>Review of {name}: {verdict}</title>\n<style>\n{style}</style>\n</head>\n<body>\n\
         <a class=\"skip\" href=\"#main\">To the findings</a>\n\
         <header>\n{front}</header>\n\
         <nav aria-label=\"Sections\">\n<ol>\n{links}</ol>\n</nav>\n\
         <main id=\"main\">\n{body}</main>\n\
         <footer>\n<p>Slipwarden {version}. Evidence for a person to judge; no certificate.</p>\n\
         </footer>\n</body>\n</html>\n",
        name = escaped(&d.name),
        verdict = escaped(&report.verdict()),
        style = style::STYLE,
        front = page.front(),
        version = env!("CARGO_PKG_VERSION"),
    )
}
