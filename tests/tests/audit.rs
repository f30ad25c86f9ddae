//! The audit of tables: what is built is sound, and every single planted change is found.

use host_sim::audit::{Finding, Scope, audit, examine, explained, proofs};
use host_sim::driveline::DEMOS;
use host_sim::explore::shrink::shrunk;
use host_sim::table::{TableData, build};
use slipwarden_tests::demo::Demo;
use slipwarden_tests::tabled::tabled;
use supervisor::bits::Bits;
use supervisor::table::{
    Action, Conflict, Duty, EngineNeed, EngineUse, NO_STEP, Pace, Step, StepDuty, Stuck,
};

#[test]
fn the_demos_are_sound() {
    for name in DEMOS {
        let Demo { driveline, kinematics, table } = Demo::new(name);
        let findings = audit(&driveline, &kinematics, &table);
        assert!(findings.is_empty(), "{name}: {findings:#?}");
        let rows = proofs(&driveline, &kinematics, &table);
        println!("{name}: {} guard rows", rows.len());
        assert!(rows.len() > 80, "{name}: hardly anything is guarded");
        for row in &rows {
            assert!(row.holds && row.left >= 0.0 && row.margin >= 0.0, "{name}: {row:?}");
        }
    }
}

/// Random drivelines with sensors of different ages: the builder against the audit.
#[test]
fn random_tables_are_sound() {
    let (mut tables, mut rows) = (0, 0);
    for seed in 0..120 {
        let Some((d, k)) = tabled(seed) else { continue };
        let Ok(table) = build(&d, &k) else { continue };
        let audited = examine(&d, &k, &table, Scope { timing: true });
        assert!(audited.findings.is_empty(), "seed {seed}: {:#?}", audited.findings);
        assert_eq!(supervisor::check::check_all(&table.table()), Ok(()), "seed {seed}");
        rows += audited.proofs.len();
        tables += 1;
    }
    println!("{tables} tables, {rows} guard rows");
    assert!(tables > 60 && rows > 5000, "{tables} tables, {rows} rows");
}

/// Road speeds that the file states are kept too, however small: in steps of a few times the error
/// of the measured output.
#[test]
fn stated_road_speeds_are_truly_kept() {
    let Demo { driveline: mut d, kinematics: k, .. } = Demo::new("shuttle");
    for (low, high) in [(2.0, 3.0), (5.0, 40.0), (-4.0, 1.0)] {
        d.arrangements[0].min_speed_kmh = Some(low);
        d.arrangements[0].max_speed_kmh = Some(high);
        let mut table = build(&d, &k).expect("a table");
        assert_eq!(audit(&d, &k, &table), [], "{low} to {high} km/h");
        let window = &mut table.arrangements[0].window;
        window.max += 0.1 * window.max.abs() + 1.0;
        assert!(has(&audit(&d, &k, &table), "AU-WINDOW"), "{low} to {high} km/h");
    }
}

/// A finding of a table that was just built is said to be ours.
#[test]
fn a_finding_is_told_as_a_fault_of_the_tool() {
    let Demo { driveline, kinematics, mut table } = Demo::new("axle");
    table.locks[0].slip_max *= 2.0;
    let audited = examine(&driveline, &kinematics, &table, Scope { timing: true });
    let told = explained(&audited);
    assert!(told.starts_with("finding: AU-SLIP-LIMIT: lock low-brake slip_max: "), "{told}");
    assert!(told.contains("a fault of Slipwarden, not of your file"), "{told}");
    assert!(told.lines().last().expect("a line").len() <= 80, "{told}");
}

/// An exploration shrinks the timers; everything else can still be audited.
#[test]
fn a_table_with_shrunk_timers_is_sound_but_for_its_timing() {
    for name in DEMOS {
        let Demo { driveline: d, kinematics: k, table } = Demo::new(name);
        let small = shrunk(&table);
        assert_eq!(examine(&d, &k, &small, Scope { timing: false }).findings, []);
        assert!(has(&audit(&d, &k, &small), "AU-TIME"), "{name}");
    }
}

fn has(findings: &[Finding], id: &str) -> bool {
    findings.iter().any(|f| f.id == id)
}

/// A single change of a table; false where a table has nothing to change.
type Change = fn(&mut TableData) -> bool;

/// Every change must be found, under its identifier, in each demo that has the thing at all.
#[track_caller]
fn each_is_found(changes: &[(&str, &str, Change)]) {
    let demos: Vec<Demo> = DEMOS.iter().map(|name| Demo::new(name)).collect();
    for (id, what, change) in changes {
        let mut tried = 0;
        for demo in &demos {
            let mut table = demo.table.clone();
            if !change(&mut table) {
                continue;
            }
            assert_ne!(table, demo.table, "{what}: nothing was changed");
            tried += 1;
            let findings = audit(&demo.driveline, &demo.kinematics, &table);
            let name = &demo.driveline.name;
            assert!(has(&findings, id), "{name}: {what}: no {id}: {findings:#?}");
        }
        assert!(tried > 0, "{what}: no demo has it");
    }
}

fn step(table: &mut TableData, wanted: impl Fn(&Step) -> bool) -> Option<&mut Step> {
    table.steps.iter_mut().find(|s| wanted(s))
}

/// Change the first step that is wanted.
fn on(table: &mut TableData, wanted: fn(&Step) -> bool, change: fn(&mut Step)) -> bool {
    step(table, wanted).map(change).is_some()
}

fn closes(step: &Step) -> bool {
    step.action == Action::Close
}

fn opens(step: &Step) -> bool {
    step.action == Action::Open
}

fn synchronises(step: &Step) -> bool {
    step.duties.contains(&StepDuty::Sync)
}

fn first_coefficient(row: &mut [f32]) -> &mut f32 {
    row.iter_mut().find(|c| **c != 0.0).expect("the row reads something")
}

fn drop_one(bits: &mut Bits) -> bool {
    let lowest = bits.lowest();
    *bits = lowest.map_or(*bits, |bit| bits.with(bit, false));
    lowest.is_some()
}

macro_rules! set {
    ($place:expr, $value:expr) => {{
        let value = $value;
        $place = value;
        true
    }};
}

#[test]
fn planted_changes_of_slips_are_found() {
    each_is_found(&[
        ("AU-SLIP-LIMIT", "slip_max half as large again", |t| {
            set!(t.locks[0].slip_max, 1.5 * t.locks[0].slip_max)
        }),
        ("AU-SLIP-LIMIT", "slip_max without its rounding", |t| {
            set!(t.locks[1].slip_max, 1.001 * t.locks[1].slip_max)
        }),
        ("AU-SLIP-BEGIN", "begin_max twice", |t| {
            set!(t.locks[0].begin_max, 2.0 * t.locks[0].slip_max)
        }),
        ("AU-SLIP-RATE", "rate_max half as large again", |t| {
            set!(t.locks[0].rate_max, 1.5 * t.locks[0].rate_max)
        }),
        ("AU-SLIP-MOVING", "moving_min half", |t| {
            set!(t.locks[0].moving_min, 0.5 * t.locks[0].moving_min)
        }),
        ("AU-SLIP-MOVING", "moving_min beyond the limit", |t| {
            set!(t.locks[0].moving_min, 1.5 * t.locks[0].slip_max)
        }),
        ("AU-ROW", "a slip coefficient with the wrong sign", |t| {
            let c = first_coefficient(&mut t.locks[0].slip_row);
            set!(*c, -*c)
        }),
        ("AU-ROW", "a slip coefficient a little off", |t| {
            let c = first_coefficient(&mut t.locks[0].slip_row);
            set!(*c, *c * (1.0 + 4.0 * f32::EPSILON))
        }),
        ("AU-ROW", "another lock's slip row", |t| set!(t.locks[0].slip_row, t.locks[1].slip_row)),
        ("AU-SENSORS", "a lock's sensor bit dropped", |t| drop_one(&mut t.locks[0].sensors)),
        ("AU-SENSORS", "a lock's sensor bit added", |t| {
            let missing = (0..t.sensors.len() as u8).find(|&s| !t.locks[0].sensors.has(s));
            missing.is_some_and(|s| set!(t.locks[0].sensors, t.locks[0].sensors.with(s, true)))
        }),
    ]);
}

fn heated(t: &mut TableData) -> Option<&mut supervisor::table::Lock> {
    t.locks.iter_mut().find(|l| !l.dog)
}

#[test]
fn planted_changes_of_locks_and_times_are_found() {
    each_is_found(&[
        ("AU-HEAT", "half the heat", |t| {
            heated(t).is_some_and(|l| set!(l.heat_k_per_radps_tick, l.heat_k_per_radps_tick / 2.0))
        }),
        ("AU-HEAT", "half the drag", |t| {
            heated(t).is_some_and(|l| set!(l.drag_k_per_radps_tick, l.drag_k_per_radps_tick / 2.0))
        }),
        ("AU-HEAT", "half the cooling time", |t| {
            heated(t).is_some_and(|l| set!(l.cooling_ticks, l.cooling_ticks / 2.0))
        }),
        ("AU-HEAT", "half as hot again", |t| {
            heated(t).is_some_and(|l| set!(l.rise_max_k, 1.5 * l.rise_max_k))
        }),
        ("AU-HEAT", "no heat limit", |t| heated(t).is_some_and(|l| set!(l.rise_max_k, 0.0))),
        ("AU-LOCK", "a dog taken for plates", |t| set!(t.locks[0].dog, !t.locks[0].dog)),
        ("AU-LOCK", "no switch", |t| set!(t.locks[0].has_switch, false)),
        ("AU-TIME", "closes earlier", |t| set!(t.locks[0].close_ticks, t.locks[0].close_ticks - 1)),
        ("AU-TIME", "waits longer", |t| {
            set!(t.locks[0].close_timeout, t.locks[0].close_timeout + 1)
        }),
        ("AU-TIME", "opens earlier", |t| {
            set!(t.locks[0].release_ticks, t.locks[0].release_ticks / 2)
        }),
        ("AU-TIME", "is given up early", |t| {
            set!(t.locks[0].release_timeout, t.locks[0].release_timeout - 1)
        }),
        ("AU-TIME", "dwell", |t| set!(t.timing.dwell, t.timing.dwell - 1)),
        ("AU-TIME", "sync_timeout", |t| set!(t.timing.sync_timeout, t.timing.sync_timeout * 2)),
        ("AU-TIME", "unload_timeout", |t| set!(t.timing.unload_timeout, 0)),
        ("AU-TIME", "overlap_max", |t| set!(t.timing.overlap_max, t.timing.overlap_max * 2)),
        ("AU-TIME", "min_stay", |t| set!(t.timing.min_stay, t.timing.min_stay + 1)),
        ("AU-TIME", "request_dwell", |t| set!(t.timing.request_dwell, 1)),
        ("AU-TIME", "retry_wait", |t| set!(t.timing.retry_wait, t.timing.retry_wait - 1)),
        ("AU-TIME", "debounce", |t| set!(t.timing.debounce, t.timing.debounce + 1)),
        ("AU-TIME", "rate_ticks", |t| set!(t.timing.rate_ticks, 2 * t.timing.rate_ticks)),
        ("AU-TIME", "engine_timeout", |t| set!(t.timing.engine_timeout, 1)),
        ("AU-TIME", "react", |t| set!(t.timing.react, t.timing.react - 1)),
        ("AU-TIME", "retries", |t| set!(t.timing.retries, t.timing.retries + 1)),
        ("AU-TIME", "tick", |t| set!(t.timing.tick_s, 1.01 * t.timing.tick_s)),
        ("AU-SHAPE", "a lock is lost", |t| t.locks.pop().is_some()),
        ("AU-SHAPE", "half of the ways are lost", |t| {
            t.next.truncate(t.next.len() / 2);
            true
        }),
    ]);
}

#[test]
fn planted_changes_of_tests_on_shafts_and_sensors_are_found() {
    each_is_found(&[
        ("AU-REST-LIMIT", "rest twice as fast", |t| set!(t.rests[0].max, 2.0 * t.rests[0].max)),
        ("AU-ROW", "rest the wrong way round", |t| {
            let c = first_coefficient(&mut t.rests[0].row);
            set!(*c, -*c)
        }),
        ("AU-SENSORS", "rest without its sensor", |t| drop_one(&mut t.rests[0].sensors)),
        ("AU-PARITY", "half the parity", |t| {
            t.parities.first_mut().is_some_and(|p| set!(p.max, p.max / 2.0))
        }),
        ("AU-PARITY", "half the parity again", |t| {
            t.parities.first_mut().is_some_and(|p| set!(p.max, p.max * 1.5))
        }),
        ("AU-PARITY", "a parity is lost", |t| t.parities.pop().is_some()),
        ("AU-ROW", "a parity with a wrong sign", |t| {
            t.parities.first_mut().is_some_and(|p| {
                let c = first_coefficient(&mut p.row);
                set!(*c, -*c)
            })
        }),
        ("AU-SENSORS", "a parity without a sensor", |t| {
            t.parities.first_mut().is_some_and(|p| drop_one(&mut p.sensors))
        }),
        ("AU-ENGINE", "engine_min above its stall speed", |t| {
            t.engine.is_some() && set!(t.engine_min, 1.5 * t.engine_min)
        }),
        ("AU-ENGINE", "engine_min far below", |t| {
            t.engine.is_some() && set!(t.engine_min, 0.5 * t.engine_min)
        }),
        ("AU-ENGINE", "another engine", |t| t.engine.is_some() && set!(t.engine, Some(0))),
        ("AU-ENGINE", "no engine", |t| t.engine.is_some() && set!(t.engine, None)),
        ("AU-ROW", "the output runs backwards", |t| {
            let c = first_coefficient(&mut t.output_row);
            set!(*c, -*c)
        }),
        ("AU-SENSORS", "the output without its sensor", |t| drop_one(&mut t.output_sensors)),
        ("AU-OUTPUT-RATE", "half the grip", |t| set!(t.output_rate_max, 0.5 * t.output_rate_max)),
        ("AU-OUTPUT-RATE", "half the grip again", |t| {
            set!(t.output_rate_max, 1.5 * t.output_rate_max)
        }),
        ("AU-SENSOR", "a sensor that reads further", |t| {
            set!(t.sensors[0].range, 1.5 * t.sensors[0].range)
        }),
        ("AU-SENSOR", "a shaft that may turn faster", |t| {
            set!(t.sensors[0].allowed.max, 1.05 * t.sensors[0].allowed.max)
        }),
        ("AU-SENSOR", "a shaft that may turn backwards faster", |t| {
            let allowed = &mut t.sensors[0].allowed;
            set!(allowed.min, allowed.min - 0.05 * allowed.max)
        }),
        ("AU-SENSOR", "a shaft that may turn less fast", |t| {
            set!(t.sensors[0].allowed.max, 0.95 * t.sensors[0].allowed.max)
        }),
    ]);
}

#[test]
fn planted_changes_of_lock_sets_are_found() {
    each_is_found(&[
        ("AU-CONFLICT", "a conflict is lost", |t| t.conflicts.pop().is_some()),
        ("AU-CONFLICT", "a conflict too many", |t| {
            let locks = Bits(1);
            t.conflicts.push(Conflict { locks, release_first: 0 });
            true
        }),
        ("AU-CONFLICT", "a conflict twice", |t| {
            let again = t.conflicts[0];
            t.conflicts.push(again);
            true
        }),
        ("AU-CONFLICT", "a conflict with a lock more", |t| {
            let all = Bits::first(t.locks.len() as u8);
            let small = t.conflicts.iter_mut().find(|c| c.locks != all);
            small.is_some_and(|c| set!(c.locks, all))
        }),
        ("AU-CONFLICT", "a stranger is let go first", |t| {
            let conflict = &mut t.conflicts[0];
            let stranger = (0..8).find(|&l| !conflict.locks.has(l));
            set!(conflict.release_first, stranger.expect("no conflict of eight locks"))
        }),
        ("AU-OVERLAP", "an overlap is lost", |t| t.overlaps.pop().is_some()),
        ("AU-OVERLAP", "an overlap that holds nothing", |t| {
            t.overlaps.first_mut().is_some_and(|o| set!(o.machines, Bits::EMPTY))
        }),
        ("AU-SET", "drives", |t| set!(t.sets[0].drives, !t.sets[0].drives)),
        ("AU-SET", "engine_joined", |t| set!(t.sets[1].engine_joined, !t.sets[1].engine_joined)),
        ("AU-SET", "engine_geared", |t| set!(t.sets[1].engine_geared, !t.sets[1].engine_geared)),
        ("AU-SET", "held_machines", |t| {
            let held = t.sets.iter_mut().find(|s| !s.held_machines.is_empty());
            held.is_some_and(|s| drop_one(&mut s.held_machines))
        }),
        ("AU-FALLBACK", "another fallback", |t| {
            set!(t.sets[0].fallback, (t.sets[0].fallback + 1) % t.arrangements.len() as u8)
        }),
        ("AU-FALLBACK", "no fallback", |t| set!(t.sets[0].fallback, u8::MAX)),
        ("AU-ARRANGEMENT", "other locks", |t| set!(t.arrangements[0].closed, Bits::EMPTY)),
        ("AU-ARRANGEMENT", "another use of the engine", |t| {
            let a = &mut t.arrangements[0];
            set!(a.engine, if a.engine == EngineUse::On { EngineUse::Off } else { EngineUse::On })
        }),
        ("AU-WINDOW", "it may be asked for faster", |t| {
            let window = &mut t.arrangements[0].window;
            set!(window.max, 1.5 * window.max)
        }),
        ("AU-WINDOW", "it may stay a little faster", |t| {
            let keep = &mut t.arrangements[0].keep;
            set!(keep.max, 1.001 * keep.max)
        }),
        ("AU-WINDOW", "it may stay a little slower", |t| {
            let keep = &mut t.arrangements[0].keep;
            set!(keep.min, keep.min - 1.0)
        }),
        ("AU-PACE", "the engine is held too fast", |t| {
            let paced = t.arrangements.iter_mut().find(|a| a.pace != Pace::default());
            paced.is_some_and(|a| set!(a.pace.max, 1.5 * a.pace.max))
        }),
    ]);
}

#[test]
fn planted_changes_of_what_a_step_says_are_found() {
    each_is_found(&[
        ("AU-REST", "a rest machine dropped", |t| {
            on(
                t,
                |s| !s.rest.is_empty(),
                |s| {
                    drop_one(&mut s.rest);
                },
            )
        }),
        ("AU-REST", "a rest machine added", |t| {
            on(t, |s| s.rest.is_empty(), |s| s.rest = Bits::one(0))
        }),
        ("AU-ENGINE-NEED", "the engine need not run", |t| {
            on(t, |s| s.engine == EngineNeed::Running, |s| s.engine = EngineNeed::Any)
        }),
        ("AU-ENGINE-NEED", "an engine must run that need not", |t| {
            on(t, |s| closes(s) && s.engine == EngineNeed::Any, |s| s.engine = EngineNeed::Running)
        }),
        ("AU-STEP", "an action the wrong way round", |t| {
            on(t, opens, |s| s.action = Action::Close)
        }),
        ("AU-STEP", "a lock that does not exist", |t| on(t, closes, |s| s.lock = 7)),
        ("AU-NEXT", "a step that starts elsewhere", |t| {
            on(t, closes, |s| s.from = Bits(s.from.0 ^ (1 << ((s.lock + 1) % 3))))
        }),
        ("AU-NEXT", "another lock than that of the way", |t| {
            on(t, |s| closes(s) && s.from.is_empty(), |s| s.lock = (s.lock + 1) % 3)
        }),
        ("AU-SENSORS", "a sensor bit dropped", |t| {
            on(t, closes, |s| {
                drop_one(&mut s.sensors);
            })
        }),
        ("AU-DUTY", "a push that is not kept", |t| {
            on(t, |s| closes(s) && s.keeps_push, |s| s.keeps_push = false)
        }),
        ("AU-DUTY", "an engine that gives no torque while another machine synchronises", |t| {
            let engine = t.engine.map(usize::from);
            let frees = |s: &&mut Step| engine.is_some_and(|m| s.duties[m] == StepDuty::Free);
            let mut steps = t.steps.iter_mut().filter(|s| closes(s)).filter(frees);
            steps.next().is_some_and(|s| set!(s.duties[engine.unwrap_or(0)], StepDuty::Unload))
        }),
        ("AU-DUTY", "a push that cannot be kept", |t| {
            on(t, |s| opens(s) && !s.keeps_push, |s| s.keeps_push = true)
        }),
        ("AU-DUTY", "nobody synchronises", |t| {
            on(
                t,
                |s| synchronises(s) && s.target_row.iter().any(|c| *c != 0.0),
                |s| {
                    s.duties = s.duties.map(|duty| match duty {
                        StepDuty::Sync => StepDuty::Free,
                        other => other,
                    });
                },
            )
        }),
        ("AU-DUTY", "a share the wrong way round", |t| {
            let takes = |s: &Step| s.duties.iter().any(|d| matches!(d, StepDuty::Take { .. }));
            on(t, takes, |s| {
                s.duties = s.duties.map(|duty| match duty {
                    StepDuty::Take { share } => StepDuty::Take { share: -share },
                    other => other,
                });
            })
        }),
        ("AU-DUTY", "a lock opens while a machine follows the driver", |t| {
            on(t, opens, |s| s.duties[0] = StepDuty::Free)
        }),
    ]);
}

#[test]
fn planted_changes_of_a_steps_limits_are_found() {
    each_is_found(&[
        ("AU-WINDOW", "a wider window", |t| on(t, closes, |s| s.window.max *= 1.5)),
        ("AU-WINDOW", "a little wider window", |t| on(t, opens, |s| s.window.max *= 1.001)),
        ("AU-WINDOW", "a lower window", |t| on(t, closes, |s| s.window.min -= 1.0)),
        ("AU-TARGET", "a faster target", |t| on(t, synchronises, |s| s.target_max *= 1.5)),
        ("AU-TARGET", "a slower target", |t| on(t, synchronises, |s| s.target_min -= 1.0)),
        ("AU-TARGET", "an offset the wrong way round", |t| {
            on(t, |s| s.target_offset != 0.0, |s| s.target_offset = -s.target_offset)
        }),
        ("AU-ROW", "a target with a wrong sign", |t| {
            on(
                t,
                |s| s.target_row.iter().any(|c| *c != 0.0),
                |s| {
                    let c = first_coefficient(&mut s.target_row);
                    *c = -*c;
                },
            )
        }),
        ("AU-LIMITS", "a limit half as large again", |t| {
            t.limits.iter_mut().for_each(|l| l.max *= 1.5);
            !t.limits.is_empty()
        }),
        ("AU-LIMITS", "a limit with a wrong sign", |t| {
            let reads = |l: &&mut supervisor::table::Limit| l.row.iter().any(|c| *c != 0.0);
            t.limits.iter_mut().find(reads).is_some_and(|l| {
                let c = first_coefficient(&mut l.row);
                set!(*c, -*c)
            })
        }),
        ("AU-LIMITS", "limits are forgotten", |t| {
            on(t, |s| s.limits_count > 0, |s| s.limits_count = 0)
        }),
        ("AU-LOAD", "half the load again", |t| on(t, opens, |s| s.load_max *= 1.5)),
        ("AU-ROW", "a load with a wrong sign", |t| {
            on(
                t,
                |s| s.load_row.iter().any(|c| *c != 0.0),
                |s| {
                    let c = first_coefficient(&mut s.load_row);
                    *c = -*c;
                },
            )
        }),
        ("AU-DEMAND", "half the demand again to be handed over", |t| {
            on(t, |s| opens(s) && s.demand_max < f32::MAX, |s| s.demand_max *= 1.5)
        }),
        ("AU-DEMAND", "any demand while synchronising", |t| {
            on(t, |s| closes(s) && s.demand_max < f32::MAX, |s| s.demand_max = f32::MAX)
        }),
    ]);
}

#[test]
fn planted_changes_of_the_ways_are_found() {
    each_is_found(&[
        ("AU-NEXT", "no way where there is one", |t| {
            let entry = t.next.iter_mut().find(|e| **e & NO_STEP == 0);
            entry.is_some_and(|e| set!(*e, NO_STEP | 2))
        }),
        ("AU-NEXT", "a step where it has arrived", |t| {
            let entry = t.next.iter_mut().find(|e| **e == NO_STEP);
            entry.is_some_and(|e| set!(*e, 0))
        }),
        ("AU-NEXT", "another reason", |t| {
            let entry = t.next.iter_mut().find(|e| **e == NO_STEP | 4);
            entry.is_some_and(|e| set!(*e, NO_STEP | 3))
        }),
        ("AU-NEXT", "a step that does not exist", |t| set!(t.next[0], 0x7000)),
    ]);
}

/// Estimated cost of the first way from a lock set; `None` when it does not arrive.
fn way_cost(table: &TableData, set: usize, target: usize) -> Option<f64> {
    let (mut set, mut cost) = (Bits(set as u8), 0.0);
    for _ in 0..=table.sets.len() {
        if set == table.arrangements[target].closed {
            return Some(cost);
        }
        let number = table.table().next_step(0, Stuck::None, set, target as u8).ok()?;
        let step = &table.steps[usize::from(number)];
        cost += table.notes[usize::from(number)].cost;
        set = set.with(step.lock, closes(step));
    }
    None
}

/// Every entry of the shuttle's first ways, pointed at every other step: nearly all must be found.
/// What is not found must be another way of the same cost.
#[test]
fn a_way_that_points_at_a_wrong_step_is_found() {
    let Demo { driveline: d, kinematics: k, table } = Demo::new("shuttle");
    let entries = table.sets.len() * table.arrangements.len();
    let (mut wrong, mut as_good) = (0, 0);
    for entry in (0..entries).filter(|&e| table.next[e] & NO_STEP == 0) {
        for other in (0..table.steps.len() as u16).step_by(3) {
            if other == table.next[entry] {
                continue;
            }
            let mut changed = table.clone();
            changed.next[entry] = other;
            let found = has(&audit(&d, &k, &changed), "AU-NEXT");
            // Another order or another synchroniser may cost the same: that is as good a way.
            let (set, target) =
                (entry / table.arrangements.len(), entry % table.arrangements.len());
            let [before, after] = [&table, &changed].map(|t| way_cost(t, set, target));
            let same = before.zip(after).is_some_and(|(a, b)| (a - b).abs() < 1e-4);
            assert!(found || same, "entry {entry} to step {other}: {before:?} {after:?}");
            wrong += usize::from(found);
            as_good += usize::from(!found);
        }
    }
    println!("{wrong} wrong entries found, {as_good} as good");
    assert!(wrong > 100 && as_good * 20 < wrong);
}

#[test]
fn planted_changes_of_what_machines_do_are_found() {
    let holds = |t: &mut TableData| -> Option<(usize, usize, f32, f32)> {
        (0..t.arrangements.len()).find_map(|a| {
            let duties = t.arrangements[a].duties.iter().enumerate();
            duties.into_iter().find_map(|(m, duty)| match *duty {
                Duty::Hold { per_output, per_pace } if per_output != 0.0 => {
                    Some((a, m, per_output, per_pace))
                }
                _ => None,
            })
        })
    };
    for name in ["shuttle", "railcar"] {
        let Demo { driveline: d, kinematics: k, mut table } = Demo::new(name);
        let (a, m, per_output, per_pace) = holds(&mut table).expect("a machine holds a speed");
        for duty in [
            Duty::Unload,
            Duty::Free,
            Duty::Hold { per_output: -per_output, per_pace },
            Duty::Hold { per_output: 1.001 * per_output, per_pace },
            Duty::Hold { per_output, per_pace: per_pace + 0.001 },
        ] {
            let mut changed = table.clone();
            changed.arrangements[a].duties[m] = duty;
            assert!(has(&audit(&d, &k, &changed), "AU-DUTY"), "{name}: {duty:?}");
        }
    }
    each_is_found(&[
        ("AU-DUTY", "nobody pushes", |t| set!(t.arrangements[0].duties, [Duty::Unload; 4])),
        ("AU-PACE", "another pace", |t| {
            let paced = t.arrangements.iter_mut().find(|a| a.pace.per_output != 0.0);
            paced.is_some_and(|a| set!(a.pace.per_output, 1.01 * a.pace.per_output))
        }),
        ("AU-PACE", "an empty range", |t| {
            let paced = t.arrangements.iter_mut().find(|a| a.pace != Pace::default());
            paced.is_some_and(|a| set!(a.pace.min, a.pace.max + 1.0))
        }),
        ("AU-PACE", "a pace where there is none", |t| {
            let unpaced = t.arrangements.iter_mut().find(|a| a.pace == Pace::default());
            unpaced.is_some_and(|a| set!(a.pace.min, 100.0))
        }),
    ]);
}

/// A narrower range of the engine's speed guards as well: said here so that it is known.
#[test]
fn a_narrower_pace_is_not_judged() {
    let Demo { driveline: d, kinematics: k, mut table } = Demo::new("shuttle");
    let mut paced = table.arrangements.iter_mut().filter(|a| a.pace != Pace::default());
    paced.next().expect("an engine with a pace").pace.min *= 1.1;
    assert_eq!(audit(&d, &k, &table), []);
}
