//! The `survey` output: for a person (fits the terminal, says the right things) and as JSON.

use host_sim::driveline::{Driveline, EngineUse, LockKind, Planet};
use host_sim::exact::{int, ratio, to_f64};
use host_sim::kinematics::{PressedLock, analyse, pressed_locks, pressed_locks_tested};
use host_sim::survey;
use serde_json::{Value, json};
use slipwarden_tests::drivelines::{Build, axle, railcar, shuttle};

fn text_of(d: &Driveline, width: usize) -> String {
    survey::text(d, &analyse(d).unwrap(), width)
}

fn json_of(d: &Driveline) -> Value {
    survey::json(d, &analyse(d).unwrap())
}

/// Eight locks, four machines, sixteen shafts, long names: the widest input there is.
fn widest() -> Driveline {
    let names: Vec<String> = (0..16).map(|n| format!("intermediate-shaft-{n}")).collect();
    let shafts: Vec<&str> = names.iter().map(String::as_str).collect();
    let mut build = Build::new("widest", &shafts, shafts[2])
        .planetary([shafts[0], shafts[1], shafts[2]], [31, 97], Planet::Single)
        .planetary([shafts[3], shafts[4], shafts[5]], [29, 83], Planet::Double)
        .pair(shafts[5], shafts[2], ratio(-104_729, 99_991))
        .electric("front-left-traction-machine", shafts[0])
        .electric("front-right-traction-machine", shafts[3])
        .electric("auxiliary-generator-machine", shafts[6])
        .engine("combustion-engine", shafts[7], 800.0, 3000.0);
    let joins = [(1, 16), (4, 16), (1, 6), (6, 7), (4, 7), (0, 1), (3, 5), (6, 16)];
    for (i, (a, b)) in joins.into_iter().enumerate() {
        let b = shafts.get(b).copied().unwrap_or("case");
        build = build.lock(&format!("multi-plate-lock-number-{i}"), shafts[a], b);
    }
    build
        .arrangement("slow", 0b0000_0001, EngineUse::Off)
        .arrangement("all-closed", 0b1111_1111, EngineUse::On)
        .done()
}

#[test]
fn text_fits_the_width_and_is_plain() {
    for d in [shuttle(), railcar(), axle(), widest()] {
        for width in [80, 100, 132] {
            let text = text_of(&d, width);
            for line in text.lines() {
                assert!(line.chars().count() <= width, "{width}: {line}");
                assert!(line.is_ascii() && line.trim_end() == line, "{line:?}");
            }
        }
    }
}

#[test]
fn text_of_256_lock_sets_lists_the_usable_ones_and_sums_up_the_others() {
    let d = widest();
    let k = analyse(&d).unwrap();
    let text = text_of(&d, 80);
    assert!(text.lines().count() < 400, "{}", text.lines().count());
    let forbidden = k.sets.iter().filter(|s| s.verdict.is_forbidden()).count();
    assert!(forbidden > 0 && text.contains(&format!("Forbidden: {forbidden} lock sets")));
    for set in &k.sets {
        let row = text.lines().any(|line| {
            let mut words = line.split_whitespace();
            words.next() == Some(&set.closed.to_string())
                && words.nth(6) == Some(set.verdict.word())
        });
        let usable = matches!(set.verdict.word(), "drives" | "holds-machine");
        assert_eq!(row, usable, "set {}", set.closed);
    }
}

#[test]
fn shuttle_text_says_what_a_controls_engineer_looks_for() {
    let text = text_of(&shuttle(), 80);
    for wanted in [
        "30 sun + 66 ring = 96 output",
        "closing ring-brake and ring-clutch while engine-clutch is closed holds",
        "-119.3 to 119.3 km/h; ended by sun at 9000 rpm",
        "traction alone: 16/5 at the output per Nm",
        "ring-brake carries 11/5 traction; 11/16 of the output torque",
        "traction with 5/16 and generator with 11/16 per Nm",
        "it approves nothing",
    ] {
        assert!(text.contains(wanted), "{wanted}\n{text}");
    }
}

/// Source: the demo shuttle's table, recomputed independently.
#[test]
fn shuttle_json_has_the_promised_keys_and_values() {
    let survey = json_of(&shuttle());
    assert_eq!(survey["survey_format"], 1);
    assert_eq!(survey["driveline"], "shuttle");
    let patterns = survey["patterns"].as_array().unwrap();
    assert_eq!(patterns.len(), 8);
    let overlap = &patterns[3];
    assert_eq!(overlap["closed"], json!(["ring-brake", "ring-clutch"]));
    assert_eq!(overlap["mobility"], 2);
    assert_eq!(overlap["held_shafts"], json!(["ring", "generator"]));
    assert_eq!(overlap["free_shafts"], json!(["crank"]));
    assert_eq!(
        overlap["speed_per_output"],
        json!({ "sun": "16/5", "output": "1", "ring": "0", "generator": "0", "crank": null })
    );
    assert_eq!(overlap["verdict"], "holds-machine");
    assert!(overlap["reason"].as_str().unwrap().contains("ring-brake and ring-clutch"));
    assert_eq!(survey["conflicts"], json!([["ring-brake", "ring-clutch", "engine-clutch"]]));
    assert_eq!(survey["conflict_reasons"].as_array().unwrap().len(), 1);
    assert_eq!(survey["conflict_holds"], json!([["crank"]]));
    let series = &survey["arrangements"][2];
    assert_eq!(series["window"]["high"]["ended_by"][0]["shaft"], "sun");
    let kmh = series["window"]["high"]["road_kmh"].as_f64().unwrap();
    assert!((kmh - 119.3).abs() < 0.1, "{kmh}");
}

#[test]
fn json_of_a_held_output_has_no_ratios() {
    let survey = json_of(&axle());
    let all = &survey["patterns"][7];
    assert_eq!(all["verdict"], "holds-output");
    assert!(all["speed_per_output"].as_object().unwrap().values().all(Value::is_null));
    assert_eq!(all["held_shafts"].as_array().unwrap().len(), 4);
    assert_eq!(survey["arrangements"][0]["window"]["engine_link"], "absent");
}

#[test]
fn an_arrangement_without_any_speed_names_the_contradiction() {
    let d = widest();
    let survey = json_of(&d);
    let all_closed = &survey["arrangements"][1];
    assert_eq!(all_closed["window"], Value::Null);
    assert_eq!(all_closed["no_window_because"][0]["limit"], "engine-idle");
    assert!(text_of(&d, 80).contains("(engine's idle) contradict"));
}

#[test]
fn no_locks_and_no_machines_still_make_a_survey() {
    let d = Build::new("bare", &["in", "out"], "out").pair("in", "out", int(2)).done();
    let survey = json_of(&d);
    assert_eq!(survey["patterns"].as_array().unwrap().len(), 1);
    assert_eq!(survey["patterns"][0]["verdict"], "neutral");
    assert_eq!(survey["patterns"][0]["speed_per_output"]["in"], "2");
    assert_eq!(survey["conflicts"], json!([]));
    let text = text_of(&d, 80);
    assert!(text.contains("Conflicts: none"), "{text}");
}

#[test]
fn same_driveline_same_bytes() {
    let once = (text_of(&railcar(), 80), json_of(&railcar()).to_string());
    assert_eq!(once, (text_of(&railcar(), 80), json_of(&railcar()).to_string()));
}

/// Every key that `docs/survey-json.md` describes exists, and no key is left undescribed.
#[test]
fn the_json_page_names_every_key() {
    let page = include_str!("../../docs/survey-json.md");
    let survey = json_of(&shuttle());
    let samples = [
        &survey,
        &survey["machines"][0],
        &survey["patterns"][5],
        &survey["patterns"][5]["torque"],
        &survey["patterns"][5]["torque"]["locks"]["ring-brake"],
        &survey["overlaps"][0],
        &survey["arrangements"][0],
        &survey["arrangements"][0]["window"],
        &survey["arrangements"][0]["window"]["low"],
        &survey["arrangements"][0]["window"]["low"]["ended_by"][0],
    ];
    for sample in samples {
        for key in sample.as_object().unwrap().keys() {
            assert!(page.contains(key.as_str()), "{key} is not described");
        }
    }
}

/// Gears that contradict each other: one error at the output, with the gears named.
#[test]
fn a_held_output_is_an_error_at_its_place_in_the_file() {
    let mut text = "format = 1\nname = \"stuck\"\nabout = \"Invented.\"\n".to_string();
    for shaft in ["a", "b", "c"] {
        text += &format!("[[shaft]]\nname = \"{shaft}\"\n");
    }
    for (name, a, b) in [("up", "a", "b"), ("on", "b", "c"), ("back", "c", "a")] {
        text += &format!("[[gear_pair]]\nname = \"{name}\"\na = \"{a}\"\nb = \"{b}\"\n");
        text += "ratio = \"2\"\n";
    }
    text += "[output]\nshaft = \"b\"\n";
    let checked = host_sim::driveline::parse("stuck.toml", &text).unwrap();
    let found = survey::command::kinematics_of(&checked).unwrap_err();
    // The message is wrapped for a terminal.
    let shown = found.render(false).split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(found.error_count(), 1);
    for wanted in
        ["stuck.toml:26:9", "hold the output b", "gear pair up, gear pair on and gear pair back"]
    {
        assert!(shown.contains(wanted), "{wanted}\n{shown}");
    }
}

/// What a person and a program read is what was worked out.
#[test]
fn what_a_pressed_lock_leaves_is_told_in_text_and_json() {
    for d in [shuttle(), railcar(), axle()] {
        let (k, name) = (analyse(&d).unwrap(), &d.name);
        let json = survey::json(&d, &k);
        let (plain, tested) = (pressed_locks(&d, &k), pressed_locks_tested(&d, &k));
        for (i, arrangement) in json["arrangements"].as_array().expect("a list").iter().enumerate()
        {
            let told = arrangement["closed_by_fault"].as_array().expect("a list");
            let of_it = |all: &[PressedLock]| -> Vec<PressedLock> {
                all.iter().filter(|p| p.arrangement == i).cloned().collect()
            };
            let (plain, tested) = (of_it(&plain), of_it(&tested));
            assert_eq!(told.len(), plain.len(), "{name}");
            for ((told, plain), tested) in told.iter().zip(&plain).zip(&tested) {
                assert_eq!(told["lock"], d.locks[plain.lock].name.as_str());
                for (key, p) in [("window", plain), ("tested_window", tested)] {
                    let high = p.window.as_ref().ok().and_then(|w| w.high.output_rpm.as_ref());
                    assert_eq!(
                        told[key]["high"]["output_rpm"].as_f64(),
                        high.map(to_f64),
                        "{name}"
                    );
                }
            }
        }
    }
    let mut d = axle();
    let k = analyse(&d).unwrap();
    let text = survey::text(&d, &k, 100);
    let pressed = "high and low-brake, without high-clutch";
    assert!(
        text.contains(pressed) && text.contains("-88.7 to 88.7 km/h; ended by rotor"),
        "{text}"
    );
    assert!(text.contains("tested to bear for a while: all that the arrangement allows"), "{text}");
    let rotor = d.shafts.iter_mut().find(|s| s.name == "rotor").expect("a shaft");
    rotor.tested_rpm = Some(12_600.0);
    let text = survey::text(&d, &k, 200);
    assert!(
        text.contains("for a while: -93.1 to 93.1 km/h; ended by rotor at 12600 rpm"),
        "{text}"
    );
    d.shafts.iter_mut().for_each(|s| s.tested_rpm = None);
    let text = survey::text(&d, &k, 100);
    assert!(text.contains(pressed) && !text.contains("tested"), "{text}");
}

/// What campaigns found of the railcar while its input brake was a dog (plates that a fault presses hold the
/// output together with two dogs, which do not come out) is told before anything is driven. Against a look at every lock set.
#[test]
fn plates_that_dogs_cannot_give_way_to_are_told() {
    for (d, count) in [(axle(), 0), (shuttle(), 0), (railcar(), 1), (with_two_dogs(), 4)] {
        let (k, json) = (analyse(&d).unwrap(), json_of(&d));
        let is_dog = |lock: usize| matches!(d.locks[lock].kind, LockKind::Dog(_));
        let forbidden = |set: usize| k.sets[set].verdict.is_forbidden();
        let holds = |set: usize| !forbidden(set) && !k.sets[set].held_machines.is_empty();
        // Every set that is one or the other, that opening any of its locks frees of it, and with one lock
        // of plates.
        let found = (0..k.sets.len()).filter(|&set| {
            let locks: Vec<usize> = (0..d.locks.len()).filter(|l| set >> l & 1 == 1).collect();
            let plates = locks.iter().filter(|l| !is_dog(**l)).count();
            let smallest =
                |is: &dyn Fn(usize) -> bool| is(set) && locks.iter().all(|l| !is(set & !(1 << l)));
            plates == 1 && locks.len() > 1 && (smallest(&forbidden) || smallest(&holds))
        });
        let told = json["plates_against_teeth"].as_array().expect("a list");
        let pattern = |entry: &Value| {
            let names = entry["dogs"].as_array().expect("names").iter().chain([&entry["plates"]]);
            let place = |name: &Value| d.locks.iter().position(|l| *name == *l.name);
            names.fold(0, |set, name| set | 1 << place(name).expect("a lock"))
        };
        let mut patterns: Vec<usize> = told.iter().map(pattern).collect();
        patterns.sort_unstable();
        assert_eq!(patterns, found.collect::<Vec<_>>(), "{}", d.name);
        assert_eq!(patterns.len(), count, "{}", d.name);
        let says = text_of(&d, 100);
        assert_eq!(says.contains("Plates against teeth"), count > 0, "{says}");
    }
    let says = text_of(&with_two_dogs(), 100);
    let line = "second-ring-brake against cross-clutch and input-brake: a forbidden lock set";
    assert!(says.contains(line), "{says}");
    // With plates for the input-brake one lock of that set comes out.
    assert!(!text_of(&railcar(), 100).contains("against cross-clutch and input-brake"));
}

/// The railcar with teeth in its input brake too.
fn with_two_dogs() -> Driveline {
    let mut d = railcar();
    let place = |name: &str| d.locks.iter().position(|lock| lock.name == name).expect("a lock");
    let (dog, brake) = (place("cross-clutch"), place("input-brake"));
    d.locks[brake].kind = d.locks[dog].kind.clone();
    d
}
