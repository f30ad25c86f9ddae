//! The review as one page: no network; screen, small screen, dark screen, paper. It says
//! everything without its script, which sorts and filters tables and moves the sliders.

mod campaign;
mod cards;
mod drives;
mod energy;
mod evidence;
mod explored;
mod front;
mod html;
mod kinematics;
mod matrix;
mod method;
mod motions;
mod parts;
mod rules;
mod script;
mod style;

use super::files::Kept;
use super::replay::Replay;
use super::report::Report;
use super::trace::{Requirement, requirements};
use html::{escaped, part, section};
use motions::Shown;

/// What all parts of the page look at.
struct Page<'a> {
    report: &'a Report,
    kept: &'a Kept,
    replays: &'a [Replay],
    motions: Vec<Shown>,
    requirements: Vec<Requirement>,
}

impl Page<'_> {
    /// Identifier, heading and content of each section.
    fn sections(&self) -> Vec<(&'static str, &'static str, String)> {
        vec![
            ("subject", "What was reviewed, and what this is not", self.subject()),
            ("driveline", "The driveline", self.driveline()),
            (
                "arrangements",
                "Arrangements",
                self.arrangements()
                    + &self.cards()
                    + &part("lock-sets", "All lock sets", &self.lock_sets()),
            ),
            ("conflicts", "Conflicts and overlaps", self.conflicts()),
            ("transitions", "Transitions", self.transitions()),
            ("rules", "Rules", self.rules()),
            ("exploration", "Exploration", self.exploration()),
            ("campaign", "Campaign", self.campaign()),
            ("planted", "Planted defects", self.planted()),
            ("energy", "Energy", self.energy()),
            ("reproduce", "How to reproduce this", self.reproduce()),
            ("limits", "Open points and limits of the method", self.limits()),
            ("code", "Code of the rules", self.code()),
        ]
    }

    fn transitions(&self) -> String {
        self.matrix()
            + &part("diagram", "State diagram", &self.diagram())
            + &part("motions", "Timelines to step through", &self.motions())
            + &part("refusals", "Refusals", &self.refusals())
            + &part("table", "Limits of the table", &self.table_limits())
            + &part("margins", "How near the drives came to each limit", &self.margins())
            + &part("drives", "All drives", &self.drives())
    }
}

/// The page `index.html`.
pub(super) fn index_html(report: &Report, kept: &Kept, replays: &[Replay]) -> String {
    let page = Page {
        report,
        kept,
        replays,
        motions: motions::shown(report),
        requirements: requirements(report),
    };
    let d = &report.subject.driveline;
    let sections = page.sections();
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
         style-src 'unsafe-inline'; img-src 'self' data:; script-src '{policy}'\">\n\
         <title>Review of {name}: {verdict}</title>\n<style>\n{style}</style>\n</head>\n<body>\n\
         <a class=\"skip\" href=\"#main\">To the content</a>\n\
         <header>\n{front}</header>\n\
         <nav aria-label=\"Sections\">\n<ol>\n{links}</ol>\n</nav>\n\
         <main id=\"main\" tabindex=\"-1\">\n{body}</main>\n\
         <footer>\n<p>Slipwarden {version}. Evidence for a person to judge; no certificate.</p>\n\
         </footer>\n<script>{script}</script>\n</body>\n</html>\n",
        policy = script::policy_hash(),
        name = escaped(&d.name),
        verdict = escaped(&report.verdict()),
        style = style::style(&page.foot()),
        script = script::SCRIPT,
        front = page.front(),
        version = env!("CARGO_PKG_VERSION"),
    )
}
