//! Making evidence in the run of the review.

use std::path::Path;

use serde_json::Value;

use super::state::{State, count, list, text};
use super::{Evidence, Kind, Origin, Part};
use crate::audit::{Scope, examine};
use crate::campaign::Score;
use crate::campaign::defects::defects as plant_defects;
use crate::campaign::report::campaign_json;
use crate::campaign::trial::{self, Trial, Trials};
use crate::campaign::{Header, Merged, Shard, Share, Tally, World, run as run_cases};
use crate::energy::{cruise, data, map, model::Model};
use crate::explore::defects::{self, Drives, Explorer};
use crate::explore::once::explored;
use crate::explore::search::Bounds;
use crate::review::depth::Work;
use crate::review::{Subject, progress::Progress};

/// Seeds of the campaigns that try planted defects.
const DEFECT_SEEDS: u64 = 3;
/// Lock faults in the explorations of planted defects.
const DEFECT_FAULTS: u8 = 0;

/// What making needs besides the subject.
pub struct Making<'a> {
    /// How much.
    pub work: Work,
    /// Threads; the results do not depend on it.
    pub threads: usize,
    /// Folder of the driveline file, where loss maps lie.
    pub folder: Option<&'a Path>,
    /// Told of every step; may stop everything.
    pub progress: &'a mut dyn Progress,
}

/// Make all kinds that are not `given`. What was stopped half-way says so itself.
pub fn make(subject: &Subject, given: Vec<Part>, making: &mut Making) -> Evidence {
    let mut evidence = Evidence { parts: given, missing: Vec::new() };
    for kind in Kind::ALL {
        if evidence.of(kind).next().is_some() || making.progress.is_stopped() {
            continue;
        }
        making.progress.begin(kind);
        let made = match kind {
            Kind::Explore => explore(subject, making),
            Kind::Campaign if making.work.cases == 0 => continue,
            Kind::Campaign => campaign(subject, making),
            Kind::Defects if making.work.defects == 0 => continue,
            Kind::Defects => table_defects(subject, unchanged(&evidence), making),
            Kind::PlantDefects if making.work.plant_defects == 0 => continue,
            Kind::PlantDefects => defects_in_plant(subject, making),
            Kind::Energy => energy(subject, making),
        };
        match made {
            Ok((command, value)) => {
                let part = Part { kind, origin: Origin::Made(command), value };
                making.progress.made(&part);
                evidence.parts.push(part);
            }
            Err(why) => evidence.missing.push((kind, why)),
        }
    }
    evidence.parts.sort_by_key(|part| part.kind);
    evidence
}

/// What this run's exploration without a lock fault says of the unchanged table, where it made
/// one and nothing was found: number of states, names of what never occurs.
fn unchanged(evidence: &Evidence) -> Option<(usize, Vec<String>)> {
    let whole = |part: &&Part| {
        matches!(part.origin, Origin::Made(_))
            && part.state() == State::Holds
            && part.value["faults"].as_u64() == Some(u64::from(DEFECT_FAULTS))
    };
    let value = &evidence.of(Kind::Explore).find(whole)?.value;
    let dead = list(&value["sometimes"]["dead"]).iter().map(|dead| text(&dead["name"]).to_owned());
    Some((usize::try_from(count(&value["states"])).ok()?, dead.collect()))
}

/// The command that makes the same, and what it prints.
type Made = Result<(String, Value), String>;

fn bounds(making: &Making) -> Bounds {
    let Work { states, memory_mib, .. } = making.work;
    Bounds { states, bytes: memory_mib << 20, threads: making.threads }
}

fn explore(subject: &Subject, making: &mut Making) -> Made {
    let Work { faults, states, memory_mib, .. } = making.work;
    let (d, k) = (&subject.driveline, &subject.kinematics);
    let bounds = bounds(making);
    let progress = &mut making.progress;
    let value = explored(d, k, &subject.table, (faults, &bounds), |reached| {
        progress.at("exploration: states", reached.states as u64, None)
    });
    let command = format!(
        "slipwarden explore driveline.toml --faults {faults} --states {states} --memory \
         {memory_mib} --json"
    );
    Ok((command, value))
}

fn campaign(subject: &Subject, making: &mut Making) -> Made {
    let Work { cases, case_faults, .. } = making.work;
    let world = World::new(subject.clone());
    let seed = subject.seed;
    let share = Share { seed, cases, faults: case_faults, shard: Shard::WHOLE };
    let blocks: Vec<u64> = (0..share.blocks()).collect();
    let mut tally = Tally::default();
    let progress = &mut making.progress;
    run_cases(&world, &share, &blocks, making.threads, |block| {
        if let Some((_, of_block)) = block {
            tally.add(of_block);
        }
        progress.at("campaign: cases", tally.cases + tally.not_run, Some(cases))
    })
    .map_err(|error| error.to_string())?;
    tally.sort();
    let missing = cases - tally.cases - tally.not_run;
    let header = Header::new(&world, seed, cases, case_faults, Shard::WHOLE);
    let short = if missing > 0 { vec![(0, missing)] } else { Vec::new() };
    let value = campaign_json(&Merged { header, tally, missing: Vec::new(), short });
    let command = format!(
        "slipwarden campaign driveline.toml --cases {cases} --faults {case_faults} --seed {seed} \
         --shrink 0 --out campaign"
    );
    Ok((command, value))
}

fn table_defects(
    subject: &Subject,
    unchanged: Option<(usize, Vec<String>)>,
    making: &mut Making,
) -> Made {
    let Work { defects: wanted, defect_states, states, memory_mib, .. } = making.work;
    let (d, k, good) = (&subject.driveline, &subject.kinematics, &subject.table);
    let bounds = bounds(making);
    let progress = &mut making.progress;
    let tell = |states: usize| {
        progress.at("planted defects, the unchanged table: states", states as u64, None)
    };
    let explorer = match unchanged {
        Some(known) => Explorer::known((d, k, good), DEFECT_FAULTS, &bounds, known, tell),
        None => Explorer::new(d, k, good, DEFECT_FAULTS, &bounds, tell),
    };
    let explorer = explorer.map_err(|unfit| match unfit {
        defects::Unfit::Unfinished => format!(
            "planted defects of the table were not tried: the unchanged one was not explored \
             within {states} states and {memory_mib} MiB, or that was stopped"
        ),
        defects::Unfit::Broken => {
            "planted defects of the table were not tried: the unchanged one does not hold".into()
        }
    })?;
    let audited = examine(d, k, good, Scope { timing: true });
    if !audited.findings.is_empty() {
        return Err("planted defects of the table were not tried: the audit has findings of the \
                    unchanged one"
            .into());
    }
    let drives = Some(Drives::of(d, k, good));
    let explorer = explorer.at_most(defect_states);
    let judges = defects::run::Judges { d, k, good, explorer, audited, drives };
    let list = defects::all(d, good);
    let chosen = defects::run::sample(list.len(), wanted);
    let judged = defects::run::run(&judges, &list, &chosen, making.threads, |done| {
        progress.at("planted defects of the table", done as u64, Some(chosen.len() as u64))
    });
    let report = defects::Report {
        driveline: d,
        faults: DEFECT_FAULTS,
        table_hash: good.hash,
        states: judges.explorer.states,
        all: list.len(),
        chosen: chosen.len(),
        judged,
    };
    let command = format!(
        "slipwarden explore driveline.toml --defects --faults {DEFECT_FAULTS} --sample {} \
         --states {states} --defect-states {defect_states} --memory {memory_mib} --json",
        chosen.len()
    );
    Ok((command, report.json()))
}

fn defects_in_plant(subject: &Subject, making: &mut Making) -> Made {
    let Work { plant_defects: wanted, plant_defect_cases: cases, case_faults, .. } = making.work;
    let world = World::new(subject.clone());
    let list = plant_defects(&world);
    let chosen = defects::run::sample(list.len(), wanted);
    let seeds: Vec<u64> = (0..DEFECT_SEEDS).map(|i| subject.seed.wrapping_add(i)).collect();
    let trial = Trial { seeds: &seeds, cases, faults: case_faults };
    let progress = &mut making.progress;
    let trials = Trials::new(&world, &list, &chosen, trial);
    let mut state = trial::State::new(&trial);
    let (mut done, all) = (0, cases * DEFECT_SEEDS);
    trials
        .go_on(&mut state, making.threads, |after_block| {
            done = after_block.map_or(done, trial::State::done);
            progress.at("planted defects in campaigns: cases", done, Some(all))
        })
        .map_err(|error| error.to_string())?;
    let ran = trials.is_whole(&state);
    let tried = trials.tried(&state, making.threads, || !progress.is_stopped());
    let whole = ran && tried.iter().all(|t| t.examined.is_some());
    let score = Score {
        driveline: &subject.driveline.name,
        table_hash: world.table.hash,
        trial,
        cases_done: state.seeds.iter().map(|of| of.cases).collect(),
        all: list.len(),
        tried: &tried,
    };
    let command = format!(
        "slipwarden campaign driveline.toml --defects --cases {cases} --faults {case_faults} \
         --seed {} --sample {} --json",
        subject.seed,
        chosen.len()
    );
    Ok((command, score.json(whole)))
}

fn energy(subject: &Subject, making: &mut Making) -> Made {
    let (d, k) = (&subject.driveline, &subject.kinematics);
    let (columns, rows) = making.work.grid;
    let model = Model::new(d, k, making.folder)
        .map_err(|message| message.trim().trim_start_matches("error: ").to_owned())?;
    making.progress.at("energy map", 0, None);
    let price = map::price_on_board(&model);
    let modes = map::Mode::ALL.map(|mode| (mode, price));
    let axes = map::axes(&model, columns, rows);
    let maps = map::maps(&model, d.arrangements.len(), &modes, &axes, making.threads, &|_, _| {});
    let speeds = cruise::usual_speeds(&model);
    let cruises = cruise::cruises(&model, d.arrangements.len(), &speeds, &[0.0, 4.0]);
    let mut value = data::json(d, &model, price, &maps, &cruises);
    value["file_sha256"] = subject.file_hash().into();
    let command =
        format!("slipwarden energy driveline.toml --columns {columns} --rows {rows} --json");
    Ok((command, value))
}
