//! The driveline file: demos and starter agree with the reader, value by value.

use host_sim::driveline::keys::DRIVELINE;
use host_sim::driveline::{self, DEMOS, LockKind, MachineKind, Purpose, SensorKind};
use host_sim::exact;

fn parse(text: &str) -> driveline::Checked {
    driveline::parse("test.toml", text).unwrap_or_else(|e| panic!("{e}"))
}

#[test]
fn the_demos_are_read_without_a_warning() {
    for name in DEMOS {
        let text = driveline::demo(name).expect("embedded");
        let checked = driveline::parse(name, text).unwrap_or_else(|e| panic!("{e}"));
        assert!(checked.warnings.is_empty(), "{}", checked.warnings);
        checked.ready_for(Purpose::Plant).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(checked.driveline.name, name);
        assert!(driveline::read(name).is_ok(), "a demo is found by its name");
    }
}

/// Values typed in here by hand from the demo file, and defaults from the reference page.
#[test]
fn the_shuttle_is_read_value_by_value() {
    let shuttle = parse(driveline::demo("shuttle").expect("embedded")).driveline;
    let names: Vec<&str> = shuttle.shafts.iter().map(|s| s.name.as_str()).collect();
    assert_eq!(names, ["sun", "output", "ring", "generator", "crank"]);
    assert_eq!(shuttle.shafts[0].max_rpm, Some(9000.0));
    assert_eq!(shuttle.shafts[0].min_rpm, Some(-9000.0));
    let set = &shuttle.planetaries[0];
    assert_eq!((set.sun, set.ring, set.carrier), (0, 2, 1));
    assert_eq!((set.sun_teeth, set.ring_teeth, set.planets), (30, 66, 4));
    let brake = &shuttle.locks[0];
    assert_eq!((brake.a, brake.b), (2, None));
    assert_eq!((brake.close_ms, brake.release_ms), (90.0, 60.0));
    assert!((brake.drag_nm - 2.7).abs() < 1e-12, "0.3 % of 900 Nm");
    let LockKind::Friction(friction) = &brake.kind else { panic!("friction") };
    assert_eq!(friction.energy_budget_kj, 12.0);
    assert!(brake.normally_open && brake.has_switch);
    assert_eq!(shuttle.locks[2].b, Some(4));
    let MachineKind::Electric(traction) = &shuttle.machines[0].kind else { panic!("electric") };
    assert_eq!((traction.max_torque_nm, traction.lag_ms), (Some(310.0), 15.0));
    assert_eq!(traction.loss.square, 0.0026);
    let (id, engine) = shuttle.engine().expect("an engine");
    assert_eq!((id, engine.idle_rpm, engine.stall_rpm), (2, 950.0, 570.0));
    // p V / (4 pi) with 1.05 + 0.1 * 0.95^2 bar and 1.5 l: 13.611 Nm, worked out by hand.
    assert!((engine.drag_nm - 13.611).abs() < 5e-3, "{}", engine.drag_nm);
    assert_eq!(engine.torque_curve_rpm_nm.len(), 5);
    assert_eq!(shuttle.output.final_drive, Some(exact::ratio(41, 13)));
    assert_eq!(shuttle.battery.as_ref().expect("given").charge_window, [0.2, 0.9]);
    let sets: Vec<u8> = shuttle.arrangements.iter().map(|a| a.closed).collect();
    assert_eq!(sets, [0b001, 0b010, 0b101, 0b110]);
    assert_eq!(shuttle.sensors.len(), 7);
    assert_eq!(shuttle.sensors[0].kind, SensorKind::Resolver);
    assert_eq!(shuttle.sensors[4].kind, SensorKind::Pulses { per_turn: 60 });
    assert_eq!(shuttle.sensors[2].range_rpm, 5750.0);
    assert_eq!(shuttle.timing.tick_ms, 1.0);
}

#[test]
fn the_starter_works_and_so_do_the_keys_it_shows_as_comments() {
    let starter = driveline::starter("mine");
    let checked = parse(&starter);
    assert!(checked.warnings.is_empty(), "{}", checked.warnings);
    checked.ready_for(Purpose::Plant).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(checked.driveline.name, "mine");
    assert!(starter.lines().all(|l| l.chars().count() <= 80), "fits a terminal");
    // Comments are "# words"; keys that may be set are "#key = value" and "#[[table]]".
    let all = starter
        .lines()
        .map(|l| match l.strip_prefix('#') {
            Some(rest) if !rest.starts_with(' ') => rest,
            _ => l,
        })
        .collect::<Vec<_>>()
        .join("\n");
    let full = parse(&all).driveline;
    assert_eq!((full.locks.len(), full.machines.len(), full.gear_pairs.len()), (3, 2, 1));
    for table in DRIVELINE.tables {
        for key in table.keys {
            let shown = all.lines().any(|l| l.starts_with(&format!("{} = ", key.name)));
            let not_beside_others = ["a_teeth", "b_teeth", "mesh", "pulses_per_turn"];
            assert!(shown || not_beside_others.contains(&key.name), "{} is not shown", key.name);
        }
    }
}

#[test]
fn missing_parts_are_told_by_purpose() {
    let text = "format = 1\nname = \"bare\"\n[[shaft]]\nname = \"s\"\n[output]\nshaft = \"s\"\n";
    let checked = parse(text);
    assert!(checked.ready_for(Purpose::Survey).is_ok());
    let table = checked.ready_for(Purpose::Table).expect_err("no locks").to_string();
    let plant = checked.ready_for(Purpose::Plant).expect_err("no vehicle").to_string();
    assert!(
        table.contains("test.toml:5:1: error: this [output] lacks the key `final_drive`"),
        "{table}"
    );
    assert!(table.contains("the file has no [[lock]]"), "{table}");
    assert!(table.contains("the file has no [[arrangement]]"), "{table}");
    assert!(!table.contains("vehicle"), "{table}");
    assert!(plant.contains("the file has no [vehicle]"), "{plant}");
}

#[test]
fn more_than_eight_shafts_get_sensors_where_they_matter() {
    let mut text = String::from("format = 1\nname = \"long\"\n[output]\nshaft = \"s11\"\n");
    for i in 0..12 {
        text.push_str(&format!("[[shaft]]\nname = \"s{i}\"\nmax_rpm = 1000\n"));
    }
    text.push_str("[[machine]]\nname = \"m\"\nkind = \"electric\"\nshaft = \"s9\"\n");
    text.push_str("[[lock]]\nname = \"b\"\njoins = [\"s10\", \"case\"]\nkind = \"dog\"\n");
    let sensors = parse(&text).driveline.sensors;
    let on: Vec<usize> = sensors.iter().map(|s| s.shaft).collect();
    assert_eq!(on, [0, 1, 2, 3, 4, 9, 10, 11]);
    assert_eq!(sensors[5].kind, SensorKind::Resolver);
}

#[test]
fn tooth_counts_and_ratios_give_the_same_exact_pair() {
    let pair = |keys: &str| {
        let text = format!(
            "format = 1\nname = \"p\"\n[[shaft]]\nname = \"a\"\n[[shaft]]\nname = \"b\"\n\
             [output]\nshaft = \"a\"\n[[gear_pair]]\nname = \"g\"\na = \"a\"\nb = \"b\"\n{keys}\n"
        );
        parse(&text).driveline.gear_pairs[0].ratio.clone()
    };
    assert_eq!(pair("ratio = \"-23/40\""), exact::ratio(-23, 40));
    assert_eq!(pair("a_teeth = 40\nb_teeth = 23"), exact::ratio(-23, 40));
    assert_eq!(pair("a_teeth = 40\nb_teeth = 23\nmesh = \"internal\""), exact::ratio(23, 40));
    assert_eq!(pair("ratio = \"3.15\""), exact::ratio(63, 20));
    assert_eq!(pair("ratio = 3.15"), exact::ratio(63, 20));
    assert_eq!(pair("ratio = -2"), exact::int(-2));
    assert_eq!(pair("ratio = \" 12.5 / 5 \""), exact::ratio(5, 2));
}

#[test]
fn new_writes_a_file_that_check_accepts_and_never_overwrites_unasked() {
    let folder = std::env::temp_dir().join(format!("driveline-file-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    let path = folder.join("my-drive.toml");
    let file = path.to_str().expect("text");
    assert_eq!(driveline::command::new(file, None, false), 0);
    assert_eq!(driveline::command::check(file), 0);
    assert_eq!(driveline::read(file).expect("good").driveline.name, "my-drive");
    std::fs::write(&path, "mine").expect("written");
    assert_eq!(driveline::command::new(file, None, false), 2);
    assert_eq!(std::fs::read_to_string(&path).expect("read"), "mine", "kept");
    assert_eq!(driveline::command::check(file), 2);
    assert_eq!(driveline::command::new(file, Some("bad name"), true), 2);
    assert_eq!(std::fs::read_to_string(&path).expect("read"), "mine", "kept");
    assert_eq!(driveline::command::new(file, Some("other"), true), 0);
    assert_eq!(driveline::read(file).expect("good").driveline.name, "other");
    std::fs::remove_dir_all(&folder).expect("removed");
}
