//! How much a part of the evidence looked at, in words, from its content.

use super::state::{CampaignScore, campaign_score, count, is_undecided, list};
use super::{Kind, Part};

/// A count with thin spaces between thousands.
pub(crate) fn grouped(n: u64) -> String {
    let digits = n.to_string();
    let mut out = String::new();
    for (i, c) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            out.push('\u{202f}');
        }
        out.push(c);
    }
    out
}

/// "no lock fault", "1 lock fault".
fn faults(n: u64, what: &str) -> String {
    match n {
        0 => format!("no {what}"),
        1 => format!("1 {what}"),
        n => format!("{n} {what}s"),
    }
}

impl Part {
    /// How much it looked at.
    pub fn extent(&self) -> String {
        let v = &self.value;
        match self.kind {
            Kind::Explore => format!(
                "{} states, {} in one history",
                grouped(count(&v["states"])),
                faults(count(&v["faults"]), "lock fault")
            ),
            Kind::Campaign => format!(
                "{} cases, {} in each",
                grouped(count(&v["ran"])),
                faults(count(&v["faults"]), "fault")
            ),
            Kind::Defects => {
                let rows = list(&v["rows"]);
                let found = rows.iter().filter(|r| r["outcome"] == "found").count();
                let mut words = format!(
                    "{} of {} tried, {found} found",
                    rows.len(),
                    grouped(count(&v["defects"]))
                );
                for (n, what) in [
                    (count(&v["total"]["excused"]), "shown to be none"),
                    (rows.iter().filter(|r| is_undecided(r)).count() as u64, "not decided"),
                ] {
                    if n > 0 {
                        words += &format!(", {n} {what}");
                    }
                }
                words
            }
            Kind::PlantDefects => {
                let tried = list(&v["tried"]);
                let found = tried.iter().filter(|t| t["found"] == true).count();
                format!(
                    "{} of {} tried under {} seeds, {found} found under each",
                    tried.len(),
                    grouped(count(&v["defects"])),
                    list(&v["seeds"]).len()
                )
            }
            Kind::Energy => {
                let cells: usize = list(&v["maps"]).iter().map(|m| list(&m["cells"]).len()).sum();
                format!(
                    "{} points of {} maps, {} of steady cruise",
                    grouped(cells as u64),
                    list(&v["maps"]).len(),
                    list(&v["cruise"]).len()
                )
            }
        }
    }

    /// The score of a part whose figures are told and not judged; `None` of all others.
    pub(crate) fn score(&self) -> Option<String> {
        if self.kind != Kind::PlantDefects {
            return None;
        }
        let CampaignScore { found, missed, .. } = campaign_score(&self.value);
        Some(format!("campaigns alone found {found} of {}: a figure, no finding", found + missed))
    }
}
