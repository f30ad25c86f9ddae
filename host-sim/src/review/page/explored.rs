//! The exploration and the planted defects.

use serde_json::Value;

use super::super::evidence::{Kind, Origin, Part, count, grouped, is_undecided, list, text};
use super::Page;
use super::html::{Table, command, escaped, items, link, p};

/// Rows of a long list on the page; the JSON has all.
const MOST_ROWS: usize = 120;

impl Page<'_> {
    /// Origin, command and verdict of a part.
    pub(super) fn origin(&self, part: &Part) -> String {
        let path = self.path_of(part);
        let file = link(&path, &path);
        let mut out = match part.kind {
            Kind::Energy => String::new(),
            _ => format!("<p>{}</p>\n", self.comes_to(part)),
        };
        match &part.origin {
            Origin::Made(line) => {
                out += &format!("<p>Made in this run, as by the command below; {file}.</p>\n");
                out += &command(line);
            }
            Origin::Read { name, sha256 } => {
                out += &format!(
                    "<p>Read from {}, SHA-256 <span class=\"mono\">{sha256}</span>; its content: \
                     {file}.</p>\n",
                    escaped(name)
                );
            }
        }
        out
    }

    /// Path in the folder of this very part.
    fn path_of(&self, part: &Part) -> String {
        let all = self.report.evidence.with_paths();
        let found = all.into_iter().find(|(other, _)| std::ptr::eq(*other, part));
        found.map_or(String::new(), |(_, path)| path)
    }

    /// What a section says when its part is not there.
    pub(super) fn absent(&self, kind: Kind) -> String {
        let missing = self.report.evidence.missing.iter().find(|(of, _)| *of == kind);
        let why = missing.map_or(String::new(), |(_, why)| format!(" Why: {why}."));
        p(&format!(
            "Not made in this review.{why} This shows nothing, neither good nor bad. Make it:"
        )) + &command(&kind.command().replace("FILE", "driveline.toml"))
    }

    /// Every exploration.
    pub(super) fn exploration(&self) -> String {
        let mut out =
            p("The supervisor's own decision and interlock code, run in every reachable state \
             against a world that answers its questions in every way it can. Timers are shrunk in \
             their order; what must always hold is checked in every tick.");
        let mut any = false;
        for part in self.report.evidence.of(Kind::Explore) {
            any = true;
            out += &self.origin(part);
            out += &explored(&part.value);
        }
        if any { out } else { out + &self.absent(Kind::Explore) }
    }

    /// Every trial of planted defects.
    pub(super) fn planted(&self) -> String {
        let mut out = p(
            "A method that cannot find a planted defect proves nothing. Each defect is one change \
             of the table; what finds it is named.",
        );
        let mut any = false;
        for part in self.report.evidence.of(Kind::Defects) {
            any = true;
            out += &self.origin(part);
            out += &table_defects(&part.value);
        }
        for part in self.report.evidence.of(Kind::PlantDefects) {
            any = true;
            out += "<h3>Tried by campaigns alone</h3>\n";
            out += &self.origin(part);
            out += &plant_defects(&part.value);
        }
        if any { out } else { out + &self.absent(Kind::Defects) }
    }
}

fn explored(value: &Value) -> String {
    let mut figures = Table::new("What was explored", &["figure", "#value"]);
    let complete = if value["complete"] == true { "yes" } else { "no: stopped before the end" };
    let rows = [
        ("lock faults allowed in one history", grouped(count(&value["faults"]))),
        ("states", grouped(count(&value["states"]))),
        ("transitions", grouped(count(&value["transitions"]))),
        ("ticks of the real code", grouped(count(&value["kernel_ticks"]))),
        ("depth (levels)", grouped(count(&value["depth"]))),
        ("everything explored", complete.to_owned()),
        (
            "ticks within which every request is answered, once the world helps",
            value["live"]["bound_ticks"].as_u64().map_or("not known".to_owned(), grouped),
        ),
    ];
    for (what, figure) in rows {
        figures.row(vec![what.to_owned(), escaped(&figure)]);
    }
    let mut always = Table::new("What must always hold", &["property", "result", "meaning"]);
    for one in list(&value["always"]) {
        let result =
            match (one["judged"] == true, one["broken"] == false, value["complete"] == true) {
                (false, ..) => "<span class=\"soft\">\u{25cb} not judged</span>",
                (_, false, _) => "<span class=\"bad\">\u{25b2} broken</span>",
                (_, true, true) => "<span class=\"ok\">\u{25cf} holds</span>",
                (_, true, false) => "<span class=\"no\">\u{25c7} not broken so far</span>",
            };
        always.row(vec![escaped(text(&one["id"])), result.to_owned(), escaped(text(&one["text"]))]);
    }
    let mut out = figures.html() + &always.html();
    for one in list(&value["always"]) {
        let path: Vec<String> = list(&one["path"]).iter().map(|l| escaped(text(l))).collect();
        if !path.is_empty() {
            out += &format!("<h3>The shortest way to {} broken</h3>\n", escaped(text(&one["id"])));
            out += &items(&path);
        }
    }
    let said: Vec<String> = list(&value["assumptions"]).iter().map(|a| escaped(text(a))).collect();
    out + "<h3>Assumptions</h3>\n" + &items(&said) + &never(value)
}

/// What never occurs.
fn never(value: &Value) -> String {
    let dead = list(&value["sometimes"]["dead"]);
    if dead.is_empty() {
        return String::new();
    }
    let mut table = Table::new("What never occurs", &["what", "excuse"]);
    for one in dead {
        let excuse = match one["excuse"].as_str() {
            Some(excuse) => escaped(excuse),
            None => "<span class=\"bad\">\u{25b2} none</span>".to_owned(),
        };
        table.row(vec![escaped(text(&one["name"])), excuse]);
    }
    table.html()
}

fn table_defects(value: &Value) -> String {
    let rows = list(&value["rows"]);
    let undecided = rows.iter().filter(|row| is_undecided(row)).count();
    let mut out = p(&format!(
        "{} of the {} defects of the list were tried, evenly spread over it. {} found, {} shown to be \
         none, {} found by nothing, {undecided} not decided.",
        rows.len(),
        count(&value["defects"]),
        rows.iter().filter(|r| r["outcome"] == "found").count(),
        count(&value["total"]["excused"]),
        count(&value["total"]["survived"]) - undecided as u64,
    ));
    out += &given_up(value);
    let mut table = Table::new(
        "Planted defects of the table",
        &["#no.", "kind", "place", "change", "outcome", "found by"],
    );
    for row in list(&value["rows"]).iter().take(MOST_ROWS) {
        let by: Vec<&str> = list(&row["found_by"]).iter().map(text).collect();
        let outcome = match text(&row["outcome"]) {
            "found" => "<span class=\"ok\">\u{25cf} found</span>".to_owned(),
            "excused" => format!(
                "<span class=\"soft\">\u{25cb} no defect</span>: {}",
                escaped(text(&row["reason"]))
            ),
            _ if is_undecided(row) => {
                "<span class=\"no\">\u{25c7} not decided</span>: the exploration was given up, \
                 and nothing else found it"
                    .to_owned()
            }
            other => format!("<span class=\"bad\">\u{25b2} {}</span>", escaped(other)),
        };
        table.row(vec![
            count(&row["number"]).to_string(),
            escaped(text(&row["kind"])),
            escaped(text(&row["place"])),
            escaped(text(&row["change"])),
            outcome,
            if by.is_empty() { "\u{2013}".to_owned() } else { escaped(&by.join(", ")) },
        ]);
    }
    out += &table.html();
    out + &left_out(list(&value["rows"]).len())
}

/// What was explored of the broken tables, and what was not.
fn given_up(value: &Value) -> String {
    let given_up = count(&value["total"]["inconclusive"]);
    let found = count(&value["total"]["found_by"]["explore"]);
    let mut words = format!(
        "The exploration of each broken table, without a lock fault, found {found} of them by \
         itself"
    );
    words += &match given_up {
        0 => "; it was ended nowhere by its bound of states.".to_owned(),
        n => format!(
            "; with {n} it was given up at its bound of states before everything was explored, so \
             that it says nothing of them, and only the other judges speak there."
        ),
    };
    p(&words)
}

fn plant_defects(value: &Value) -> String {
    let tried = list(&value["tried"]);
    let found = tried.iter().filter(|t| t["found"] == true).count();
    let mut out = p(&format!(
        "{} of {} defects were tried, each under {} seeds with at most {} cases; {found} were found \
         under every seed. That is a figure of this method and no finding: most changes of a table \
         alter nothing that a drive shows, and the judges above are there for those. A planted \
         defect that nothing finds is a finding.",
        tried.len(),
        count(&value["defects"]),
        list(&value["seeds"]).len(),
        count(&value["cases"]),
    ));
    let mut table = Table::new(
        "Planted defects, tried by campaigns alone",
        &["#no.", "kind", "place", "change", "found", "#median cases", "by"],
    );
    for row in tried.iter().take(MOST_ROWS) {
        let mut by: Vec<&str> = list(&row["by_seed"]).iter().map(|s| text(&s["by"])).collect();
        by.retain(|word| !word.is_empty());
        by.dedup();
        let found = match (row["found"] == true, row["excused"].as_str()) {
            (true, _) => "<span class=\"ok\">\u{25cf} found</span>".to_owned(),
            (false, Some(why)) => {
                format!("<span class=\"soft\">\u{25cb} no defect</span>: {}", escaped(why))
            }
            (false, None) => "<span class=\"no\">\u{25c7} not under every seed</span>".to_owned(),
        };
        table.row(vec![
            count(&row["number"]).to_string(),
            escaped(text(&row["kind"])),
            escaped(text(&row["place"])),
            escaped(text(&row["change"])),
            found,
            row["median_cases"].as_u64().map_or("\u{2013}".to_owned(), |n| n.to_string()),
            escaped(&by.join(", ")),
        ]);
    }
    out += &table.html();
    out + &left_out(tried.len())
}

fn left_out(rows: usize) -> String {
    match rows.saturating_sub(MOST_ROWS) {
        0 => String::new(),
        more => p(&format!("{more} more stand in the JSON.")),
    }
}
