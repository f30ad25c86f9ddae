//! Drives as a judge of what the others left: the supervisor with the broken table and the whole
//! plant, in the situations of a review, against the same drives with the good table.

use std::sync::OnceLock;

use crate::drive::closed_loop::Setup;
use crate::drive::simulate::simulate;
use crate::drive::summary::Summary;
use crate::driveline::{Driveline, Purpose};
use crate::input::Tabled;
use crate::kinematics::Kinematics;
use crate::review::{self, Answer, Drive, Subject};
use crate::table::TableData;

/// All chance of a drive comes from this.
const SEED: u64 = 1;
/// The way driven may differ by this share, and by this much, before it counts as another drive.
const WAY: (f64, f64) = (0.1, 2.0);

/// What drives say of a defect.
#[derive(Clone, Debug, PartialEq)]
pub enum Driven {
    /// A judge of the plant's truth found this rule broken in this drive.
    Finding {
        /// The rule.
        rule: &'static str,
        /// The drive.
        drive: String,
    },
    /// A drive ended elsewhere than with the good table.
    Elsewhere {
        /// How it differed.
        how: String,
        /// The drive.
        drive: String,
    },
    /// All ended as with the good table; in so many the plant did not even move differently.
    Alike {
        /// How many were driven.
        drives: usize,
        /// How many were the same to the last bit.
        same: usize,
    },
}

impl Driven {
    /// Whether the defect was found.
    pub fn finds(&self) -> bool {
        !matches!(self, Driven::Alike { .. })
    }

    /// In words.
    pub fn text(&self) -> String {
        match self {
            Driven::Finding { rule, drive } => format!("{rule} in {drive}"),
            Driven::Elsewhere { how, drive } => format!("{how} in {drive}"),
            Driven::Alike { drives, same } => {
                format!("{drives} drives end alike, {same} of them to the last bit")
            }
        }
    }
}

/// A drive with the good table.
struct Model {
    setup: Setup,
    summary: Summary,
    digest: u64,
}

/// The drives, each made with the good table when it is first needed.
pub struct Drives {
    subject: Subject,
    list: Vec<Drive>,
    models: Vec<OnceLock<Option<Model>>>,
}

impl Drives {
    /// For one driveline; `None` where it lacks what a plant needs.
    pub fn new(tabled: &Tabled) -> Option<Drives> {
        tabled.checked.ready_for(Purpose::Plant).ok()?;
        Some(Drives::of(tabled.driveline(), &tabled.kinematics, &tabled.table))
    }

    /// For one driveline that has all that a plant needs.
    pub fn of(d: &Driveline, k: &Kinematics, table: &TableData) -> Drives {
        let subject = Subject {
            file_name: d.name.clone(),
            file_bytes: Vec::new(),
            driveline: d.clone(),
            kinematics: k.clone(),
            table: table.clone(),
            warnings: Vec::new(),
            seed: SEED,
        };
        let list = review::drives(&subject);
        let models = list.iter().map(|_| OnceLock::new()).collect();
        Drives { subject, list, models }
    }

    fn model(&self, at: usize) -> Option<&Model> {
        let make = || {
            let drive = &self.list[at];
            let one = std::slice::from_ref(drive);
            let result = review::run_all(&self.subject, one, 1, |_, _, _| true).pop()?;
            // What did not come to its request is no evidence.
            if matches!(result.answer, Answer::NotRun(_)) {
                return None;
            }
            let setup = Setup { duration_s: result.duration_s, ..drive.setup.clone() };
            Some(Model { setup, summary: result.summary, digest: result.digest })
        };
        self.models[at].get_or_init(make).as_ref()
    }

    /// Drive with a broken table until a drive shows it. `stop` may end it early.
    pub fn judge(&self, broken: &TableData, stop: &dyn Fn() -> bool) -> Driven {
        let (d, k) = (&self.subject.driveline, &self.subject.kinematics);
        let (mut drives, mut same) = (0, 0);
        for (at, drive) in self.list.iter().enumerate() {
            if stop() {
                break;
            }
            let Some(model) = self.model(at) else { continue };
            let name = || drive.stem(d);
            let outcome = match simulate(d, k, broken.table(), &model.setup, drive.seed, None) {
                Ok(outcome) => outcome,
                Err(error) => return Driven::Elsewhere { how: error.to_string(), drive: name() },
            };
            let known = |rule| model.summary.findings.iter().any(|f| f.rule == rule);
            let new = outcome.summary.findings.iter().find(|f| !known(f.rule));
            if let Some(finding) = new {
                return Driven::Finding { rule: finding.rule, drive: name() };
            }
            if let Some(how) = elsewhere(&model.summary, &outcome.summary) {
                return Driven::Elsewhere { how, drive: name() };
            }
            drives += 1;
            same += usize::from(outcome.digest == model.digest);
        }
        Driven::Alike { drives, same }
    }
}

/// How the end differs from that of the model, if it does.
fn elsewhere(model: &Summary, driven: &Summary) -> Option<String> {
    if model.ends_in != driven.ends_in {
        let word = |name: &str| if name.is_empty() { "nothing" } else { name }.to_string();
        return Some(format!("ends in {} for {}", word(&driven.ends_in), word(&model.ends_in)));
    }
    let (share, least) = WAY;
    let apart = (model.distance_m - driven.distance_m).abs();
    (apart > least.max(share * model.distance_m.abs()))
        .then(|| format!("{:.0} m driven for {:.0} m", driven.distance_m, model.distance_m))
}
