//! Every generated file of this repository: where it stands and what it must contain.
//!
//! `cargo renew` writes them, and a test compares them, byte by byte.

use crate::drive::simulate::simulate;
use crate::drive::summary_text::Heading;
use crate::drive::{command, scenario};
use crate::driveline::{self, DEMOS, Driveline};
use crate::energy::cycle::{built_in::built_in, command::picture as cycle_picture};
use crate::energy::{cruise, map, model::Model, pictures, schedule};
use crate::kinematics::Kinematics;
use crate::table::TableData;
use crate::{audit, kinematics, picture, table};

/// The ready scenario whose timeline is shown, and the seed of its drive (`drive`'s default).
const TOUR: &str = "shuttle-tour";
const SEED: u64 = 1;

/// One generated file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Generated {
    /// Path from the repository's root, with `/`.
    pub path: String,
    /// All of its text.
    pub text: String,
}

/// All generated files, the same at every call.
///
/// # Errors
/// A demo that cannot be read, surveyed or tabled; a sentence names it.
pub fn files() -> Result<Vec<Generated>, String> {
    let docs = driveline::generated_docs().into_iter().chain(scenario::generated_docs());
    let mut files: Vec<Generated> =
        docs.map(|(path, text)| Generated { path: path.to_string(), text }).collect();
    let mut proofs = Vec::new();
    for name in DEMOS {
        let (d, data) = demo_table(name)?;
        let k = kinematics::analyse(&d).map_err(|e| format!("demo {name}: {e}"))?;
        proofs.push((name.to_string(), audit::proofs(&d, &k, &data)));
        files.push(Generated {
            path: format!("tests/src/tables/{name}.rs"),
            text: table::rust_source(&d, &data),
        });
        files.push(Generated {
            path: format!("docs/pictures/{name}.svg"),
            text: picture::diagram::state_diagram(&d, &data),
        });
        files.extend(sticks(name, &d, &k));
        files.extend(energy(name, &d, &k, &data)?);
    }
    let (path, text) = audit::page(&proofs);
    files.push(Generated { path, text });
    files.push(Generated {
        path: format!("docs/pictures/{TOUR}.svg"),
        text: timeline("shuttle", TOUR)?,
    });
    Ok(files)
}

/// The demo's gearbox, and one power path of the first demo.
fn sticks(name: &str, d: &Driveline, k: &Kinematics) -> Vec<Generated> {
    let stick = picture::stick::Stick::new(d);
    let path = |what: &str| format!("docs/pictures/{name}-stick{what}.svg");
    let mut files = vec![Generated { path: path(""), text: stick.plain() }];
    if name == DEMOS[0] {
        for a in &d.arrangements {
            let at = picture::stick::Operation::example(d, k, a);
            let text = stick.draw(&picture::stick::arrangement(d, k, a, &at));
            files.push(Generated { path: path(&format!("-{}", a.name)), text });
        }
        for (i, c) in k.conflicts.iter().enumerate() {
            let text = stick.draw(&picture::stick::conflict(d, k, c));
            files.push(Generated { path: path(&format!("-conflict-{}", i + 1)), text });
        }
    }
    files
}

/// The trace that is drawn for the documentation.
const ROUTE: (&str, &str) = ("shuttle", "mountain");

/// Which energy pictures of each demo are kept: the maps they need, and how their names begin.
const SHOWN: [(&str, &[map::Mode], &[&str]); 3] = [
    (
        "shuttle",
        &[map::Mode::Held, map::Mode::Priced],
        &["best-priced", "gain-priced", "efficiency-power-split", "cruise", "lever-power-split"],
    ),
    ("railcar", &[map::Mode::Priced], &["best-priced", "cruise", "lever-compound-split"]),
    ("axle", &[map::Mode::Depleting], &["best-depleting", "cruise", "lever-high"]),
];

/// The demo's schedule, and the energy pictures that are kept of it.
fn energy(
    name: &str,
    d: &Driveline,
    k: &Kinematics,
    table: &TableData,
) -> Result<Vec<Generated>, String> {
    let model = Model::new(d, k, None)?;
    let price = map::price_on_board(&model);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let data = schedule::build(d, &model, price, threads, &|_, _| {});
    let mut files = vec![Generated {
        path: format!("tests/src/tables/{name}_schedule.rs"),
        text: schedule::rust_source(d, &data),
    }];
    let Some((_, modes, shown)) = SHOWN.iter().find(|s| s.0 == name) else { return Ok(files) };
    let axes = map::axes(&model, 25, 24);
    let n = d.arrangements.len();
    let modes: Vec<_> = modes.iter().map(|mode| (*mode, price)).collect();
    let maps = map::maps(&model, n, &modes, &axes, threads, &|_, _| {});
    let speeds = cruise::usual_speeds(&model);
    let list = cruise::cruises(&model, n, &speeds, &[0.0]);
    let mut add = |file: &str, text: String| {
        files.push(Generated { path: format!("docs/pictures/{name}-energy-{file}"), text });
    };
    for (file, text) in pictures::all(d, &maps, &list) {
        if shown.iter().any(|s| file.starts_with(s)) {
            add(&file, text);
        }
    }
    if let Some(trace) = built_in(ROUTE.1).filter(|_| name == ROUTE.0) {
        let text = cycle_picture(d, &model, table, &trace, &data, threads);
        add(&format!("cycle-{}.svg", trace.name), text);
    }
    Ok(files)
}

/// The timeline of a ready scenario, as `slipwarden drive` draws it.
fn timeline(name: &str, scenario_name: &str) -> Result<String, String> {
    let (d, data) = demo_table(name)?;
    let k = kinematics::analyse(&d).map_err(|e| format!("demo {name}: {e}"))?;
    let ready = scenario::by_name(scenario_name)
        .ok_or_else(|| format!("there is no ready scenario {scenario_name:?}"))?;
    let scenario = scenario::parse(scenario_name, ready.text, &d).map_err(|e| e.to_string())?;
    let outcome = simulate(&d, &k, data.table(), &scenario.setup, SEED, None)
        .map_err(|e| format!("{scenario_name}: {e}"))?;
    let heading =
        Heading { driveline: d.name.clone(), scenario: scenario.name.clone(), seed: SEED };
    let words = command::words(&heading, &scenario);
    Ok(outcome.timeline.draw(&words, &outcome.summary.findings))
}

/// An embedded demo and its table, built from its file.
///
/// # Errors
/// A sentence that names the demo and says what failed.
pub fn demo_table(name: &str) -> Result<(Driveline, TableData), String> {
    let text = driveline::demo(name).ok_or_else(|| format!("there is no demo {name:?}"))?;
    let d = driveline::parse(name, text).map_err(|e| format!("demo {name}: {e}"))?.driveline;
    let k = kinematics::analyse(&d).map_err(|e| format!("demo {name}: {e}"))?;
    let data = table::build(&d, &k).map_err(|e| format!("demo {name}: {e}"))?;
    Ok((d, data))
}
