//! Every rule with its hazard, limit, code, test and evidence.

use super::super::sections::excerpt;
use super::super::trace::{Nearest, Piece, Requirement, Says};
use super::Page;
use super::html::{Table, bar, escaped, items, link, p, plain, ticked, unit};

/// Identifier on the page of a rule's part.
pub(super) fn anchor(kind: &str, id: &str) -> String {
    format!("{kind}-{}", id.to_lowercase())
}

/// A result with its sign.
fn says(says: Says) -> String {
    let (class, sign) = match says {
        Says::Kept => ("ok", "\u{25cf}"),
        Says::Broken => ("bad", "\u{25b2}"),
        Says::Inconclusive => ("no", "\u{25c7}"),
        Says::Unseen | Says::Elsewhere => ("soft", "\u{25cb}"),
    };
    format!("<span class=\"{class}\">{sign} {}</span>", says.word())
}

/// "48.7 rpm, at most 80.0 rpm"; where the limit was passed and that is no break, why it is none.
fn measured(n: &Nearest, broken: bool) -> String {
    let unit = unit(&n.unit);
    if !n.used.is_finite() {
        return format!("{} {unit} ({})", plain(n.worst), escaped(&n.subject));
    }
    let kind = if n.at_least { "at least" } else { "at most" };
    let limit = format!("{kind} {} {unit}", plain(n.limit));
    let subject = escaped(&n.subject);
    let told = format!("{} {unit}, {limit} ({subject})", plain(n.worst));
    if n.used > 1.0 && !broken {
        return format!(
            "{told}: beyond the limit after a fault, which the rule forgives for the time that it \
             gives"
        );
    }
    told
}

fn nearest(requirement: &Requirement) -> String {
    let broken = requirement.result() == Says::Broken;
    match requirement.nearest() {
        None => "\u{2013}".to_owned(),
        Some(n) if n.used.is_finite() && n.used <= 1.0 => {
            format!("{}: {}", bar(n.used), measured(n, broken))
        }
        Some(n) => measured(n, broken),
    }
}

fn piece(piece: &Piece) -> String {
    let broken = piece.says == Says::Broken;
    let near = piece.nearest.as_ref();
    let near = near.map_or(String::new(), |n| format!("; nearest: {}", measured(n, broken)));
    format!(
        "{} {}: {}{near}",
        says(piece.says),
        link(&format!("#{}", piece.anchor), piece.by),
        escaped(&piece.what)
    )
}

impl Page<'_> {
    /// All rules in one table, then each by itself.
    pub(super) fn rules(&self) -> String {
        let mut table = Table::new(
            "All rules: what the evidence says together, and the nearest that anything came",
            &["rule", "what must hold", "result", "drives", "campaign", "exploration", "nearest"],
        );
        for r in &self.requirements {
            let id = &r.section.id;
            let by = |what: &str| -> String {
                let all = r.pieces.iter().filter(|p| p.by == what).map(|p| p.says);
                all.max().map_or("\u{2013}".to_owned(), says)
            };
            table.row_with(
                format!("id=\"{}\"", anchor("row", id)),
                vec![
                    format!(
                        "<span class=\"whole\">{}</span>",
                        link(&format!("#{}", anchor("rule", id)), id)
                    ),
                    ticked(&r.section.says),
                    says(r.result()),
                    by("drives"),
                    by("campaign"),
                    by("exploration"),
                    nearest(r),
                ],
            );
        }
        let mut out = p(
            "Rules with I, M or D and a number stand inside the supervisor and act on what it \
             measured; the others are judges that look at the plant's truth only. Drives and \
             campaign say of a rule inside the supervisor what the judge of the same hazard saw. \
             \u{201c}Nothing to measure\u{201d} means that nothing came up that the rule limits, as \
             when no forbidden lock set was ever closed.",
        );
        out += &table.html();
        out += &format!(
            "<p>For programs: {}, {}, {}.</p>\n",
            link("requirements.csv", "requirements.csv"),
            link("margins.csv", "margins.csv"),
            link("review.xml", "review.xml")
        );
        let each: String = self.requirements.iter().map(|r| self.rule(r)).collect();
        out + &format!("<div class=\"rules\">\n{each}</div>\n")
    }

    fn rule(&self, r: &Requirement) -> String {
        let s = &r.section;
        let id = anchor("rule", &s.id);
        let code = match excerpt(s) {
            Some(code) => format!(
                "{}, line {}",
                link(&format!("#{}", anchor("code", &s.id)), &s.code),
                code.line
            ),
            None => escaped(&s.code),
        };
        let evidence: Vec<String> = r.pieces.iter().map(piece).collect();
        format!(
            "<section class=\"rule\" id=\"{id}\" aria-labelledby=\"{id}-title\">\n\
             <h3 id=\"{id}-title\">{} {}</h3>\n<p>{}</p>\n<dl class=\"pairs\">\n\
             <dt>Hazard</dt><dd>{}</dd>\n<dt>Reason</dt><dd>{}</dd>\n<dt>Limit</dt><dd>{}</dd>\n\
             <dt>Code</dt><dd>{code}</dd>\n<dt>Test</dt><dd><code>{}</code> in {}</dd>\n\
             <dt>Evidence</dt><dd>{}</dd>\n</dl>\n</section>\n",
            escaped(&s.id),
            says(r.result()),
            ticked(&s.says),
            ticked(&s.hazard),
            ticked(&s.reason),
            ticked(&s.limit),
            escaped(&s.test),
            escaped(&s.test_file),
            items(&evidence),
        )
    }

    /// The code of each rule's branch, as this program was built from.
    pub(super) fn code(&self) -> String {
        let mut out = p(
            "The branch of each rule as this program was built from it, with the SHA-256 of the \
             whole file, to be compared with the sources.",
        );
        out += &self.code_on_paper();
        for r in &self.requirements {
            let Some(code) = excerpt(&r.section) else { continue };
            let s = &r.section;
            let id = anchor("code", &s.id);
            let numbered: String = code
                .text
                .lines()
                .enumerate()
                .map(|(i, line)| format!("{:>4}  {}\n", code.line + i, escaped(line)))
                .collect();
            out += &format!(
                "<section class=\"code\" id=\"{id}\" aria-labelledby=\"{id}-title\">\n\
                 <h3 id=\"{id}-title\">{}: {}</h3>\n<p class=\"mono soft\">SHA-256 {}</p>\n\
                 <pre tabindex=\"0\" aria-label=\"Code of {}\"><code>{numbered}</code></pre>\n\
                 </section>\n",
                link(&format!("#{}", anchor("rule", &s.id)), &s.id),
                escaped(&s.code),
                code.sha256,
                escaped(&s.id),
            );
        }
        out
    }

    /// Where the code stands, for a print that leaves the code itself out.
    fn code_on_paper(&self) -> String {
        let mut table = Table::new(
            "Not printed: the code itself. It stands on the page on a screen, and in the sources",
            &["rule", "file", "#line", "SHA-256 of the file"],
        );
        for r in &self.requirements {
            let Some(code) = excerpt(&r.section) else { continue };
            table.row(vec![
                escaped(&r.section.id),
                escaped(&r.section.code),
                code.line.to_string(),
                format!("<span class=\"mono\">{}</span>", code.sha256),
            ]);
        }
        format!("<div class=\"paper\">\n{}</div>\n", table.html())
    }
}
