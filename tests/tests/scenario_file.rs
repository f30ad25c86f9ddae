//! Scenario files: the ready ones, every kind of fault, every planted mistake.

use std::path::PathBuf;

use host_sim::drive::driver::Wish;
use host_sim::drive::faults::Injected;
use host_sim::drive::scenario::{self, READY, Scenario};
use host_sim::driveline::spec::Type;
use host_sim::driveline::{self, Diagnostics, Driveline, Failure};
use host_sim::plant::{ActuatorFault, SwitchFault};
use proptest::prelude::*;

fn demo(name: &str) -> Driveline {
    let text = driveline::demo(name).expect("embedded");
    driveline::parse(name, text).unwrap_or_else(|e| panic!("{e}")).driveline
}

fn read(text: &str) -> Result<Scenario, Diagnostics> {
    scenario::parse("drive.toml", text, &demo("shuttle"))
}

const GOOD: &str = r#"format = 1
name = "good"
duration_s = 20
start_speed_kmh = 30
start_arrangement = "series"

[[speed]]
t_s = 0
kmh = 30
[[speed]]
t_s = 10
kmh = 40

[[grade]]
t_s = 5
percent = 4

[[request]]
t_s = 2
arrangement = "series"
[[request]]
t_s = 8
arrangement = "power-split"

[[fault]]
from_s = 9
to_s = 12
kind = "lock-slow-close"
target = "ring-clutch"
value = 5
"#;

#[test]
fn a_scenario_is_read_value_by_value() {
    let good = read(GOOD).unwrap_or_else(|e| panic!("{e}"));
    assert!(good.warnings.is_empty(), "{}", good.warnings);
    let setup = good.setup;
    assert_eq!((setup.duration_s, setup.start_speed_kmh), (20.0, 30.0));
    assert_eq!(setup.start_arrangement, Some(2));
    assert!((setup.start_charge - 0.55).abs() < 1e-12, "middle of 0.2 and 0.9");
    assert_eq!(setup.wish, Wish::Speed(vec![(0.0, 30.0), (10.0, 40.0)]));
    assert_eq!(setup.grade, [(5.0, 0.04)]);
    assert_eq!(setup.requests, [(2.0, 2), (8.0, 3)]);
    assert_eq!((setup.faults[0].from_s, setup.faults[0].to_s), (9.0, 12.0));
    assert_eq!(setup.faults[0].fault, Injected::SlowClose(1, 5.0));
}

#[test]
fn what_is_left_out_has_a_meaning() {
    let least = read("format = 1\nname = \"least\"\nduration_s = 5\n").expect("enough").setup;
    assert_eq!(least.wish, Wish::Speed(vec![(0.0, 0.0)]));
    assert_eq!(least.start_arrangement, None);
    let text = "format = 1\nname = \"p\"\nduration_s = 5\n[[speed]]\nt_s = 0\nkmh = 12\n";
    assert_eq!(read(text).expect("good").setup.start_speed_kmh, 12.0);
    let text = "format = 1\nname = \"p\"\nduration_s = 5\npedal = [{ t_s = 0, share = -0.5 }]\n";
    assert_eq!(read(text).expect("good").setup.wish, Wish::Pedal(vec![(0.0, -0.5)]));
}

#[test]
fn the_ready_scenarios_fit_their_drivelines() {
    for ready in READY {
        let read = scenario::read(ready.name, &demo(ready.driveline));
        let read = read.unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(read.name, ready.name);
        assert!(read.warnings.is_empty(), "{}", read.warnings);
        assert!(!read.setup.requests.is_empty() && !read.about.is_empty());
        let other = if ready.driveline == "axle" { "shuttle" } else { "axle" };
        assert!(scenario::parse("x", ready.text, &demo(other)).is_err(), "another driveline");
    }
    let missing = scenario::read("no-such-scenario", &demo("axle")).expect_err("missing");
    assert!(matches!(missing, Failure::Unreadable(_)));
    assert!(missing.to_string().contains("the ready scenarios are shuttle-tour,"), "{missing}");
}

/// What each kind of fault must become; the list is checked to be complete.
#[test]
fn every_kind_of_fault_becomes_what_it_says() {
    let lock = "target = \"ring-clutch\"";
    let sensor = "target = \"generator\"";
    let machine = "target = \"engine\"";
    let cases = [
        ("lock-stuck-open", lock, "", Injected::Actuator(1, ActuatorFault::StuckOpen)),
        ("lock-stuck-closed", lock, "", Injected::Actuator(1, ActuatorFault::StuckClosed)),
        ("lock-opens", lock, "", Injected::Actuator(1, ActuatorFault::OpensByItself)),
        ("lock-closes", lock, "", Injected::Actuator(1, ActuatorFault::ClosesByItself)),
        ("lock-slow-close", lock, "value = 3", Injected::SlowClose(1, 3.0)),
        ("lock-slow-release", lock, "value = 3", Injected::SlowRelease(1, 3.0)),
        ("lock-drag", lock, "value = 3", Injected::ExtraDrag(1, 3.0)),
        ("switch-stuck-open", lock, "", Injected::Switch(1, SwitchFault::StuckOpen)),
        ("switch-stuck-closed", lock, "", Injected::Switch(1, SwitchFault::StuckClosed)),
        ("switch-missing", lock, "", Injected::Switch(1, SwitchFault::Missing)),
        ("switch-chatter", lock, "", Injected::Switch(1, SwitchFault::Chatter)),
        ("sensor-bias", sensor, "value = -3", Injected::SensorBias(3, -3.0)),
        ("sensor-scale", sensor, "value = 0.9", Injected::SensorScale(3, 0.9)),
        ("sensor-sign", sensor, "", Injected::SensorScale(3, -1.0)),
        ("sensor-dropout", sensor, "", Injected::SensorDropout(3)),
        ("sensor-stuck", sensor, "", Injected::SensorStuck(3)),
        ("sensor-noise", sensor, "value = 3", Injected::SensorNoise(3, 3.0)),
        ("sensor-coarse", sensor, "value = 3", Injected::SensorCoarse(3, 3.0)),
        ("sensor-late", sensor, "value = 3", Injected::SensorLate(3, 3.0)),
        ("sensor-jitter", sensor, "value = 3", Injected::SensorJitter(3, 3.0)),
        ("machine-lost", machine, "", Injected::TorqueLost(2)),
        ("machine-sign", machine, "", Injected::TorqueWrongSign(2)),
        ("machine-offset", machine, "value = -3", Injected::TorqueOffset(2, -3.0)),
        ("machine-scale", machine, "value = 0.9", Injected::TorqueScale(2, 0.9)),
        ("machine-lag", machine, "value = 3", Injected::TorqueSlow(2, 3.0)),
        ("machine-silent", machine, "", Injected::TorqueReportLost(2)),
        ("engine-stall", "", "", Injected::EngineStall),
        ("engine-no-start", "", "", Injected::EngineNoStart),
        ("engine-overrun", "", "", Injected::EngineOverrun),
        ("wheel-slip", "", "value = 0.1", Injected::WheelSlip(0.1)),
        ("supply-lost", "", "", Injected::SupplyLost),
        ("supply-dip", "", "to_s = 2", Injected::SupplyDip),
        ("supply-cold-dip", "", "to_s = 2", Injected::SupplyColdDip),
        ("tick-missed", "", "", Injected::TickMissed),
        ("tick-jitter", "", "value = 3", Injected::TickJitter(3)),
        ("reset", "", "", Injected::SupervisorReset),
        ("cold-reset", "", "", Injected::SupervisorColdReset),
    ];
    let fault = scenario::keys::SCENARIO.table("fault").expect("described");
    let Type::Choice(kinds) = &fault.key("kind", None).expect("described").ty else { panic!() };
    let told: Vec<&str> = kinds.iter().map(|k| k.0).collect();
    assert_eq!(told, cases.map(|c| c.0), "every kind is tried");
    let text = |kind: &str, target: &str, value: &str| {
        format!(
            "format = 1\nname = \"f\"\nduration_s = 9\n[[fault]]\nfrom_s = 1\nkind = \"{kind}\"\n{target}\n{value}\n"
        )
    };
    for (kind, target, value, expected) in cases {
        let setup = read(&text(kind, target, value)).unwrap_or_else(|e| panic!("{e}")).setup;
        assert_eq!(setup.faults[0].fault, expected);
        let ends = if kind.ends_with("-dip") { 2.0 } else { f64::INFINITY };
        assert_eq!(setup.faults[0].to_s, ends);
        // What a kind needs must be given, what it does not take is refused.
        for (wrong_target, wrong_value) in [
            (if target.is_empty() { lock } else { "" }, value),
            (target, if value.is_empty() { "value = 2" } else { "" }),
        ] {
            let told =
                read(&text(kind, wrong_target, wrong_value)).expect_err("refused").to_string();
            assert!(
                told.contains("lacks the key") || told.contains("belongs to a fault of kind"),
                "{told}"
            );
        }
    }
}

/// (from, to, what must be underlined, what must be told).
#[rustfmt::skip]
static MISTAKES: &[(&str, &str, &str, &str)] = &[
    ("arrangement = \"power-split\"", "arrangement = \"power-spilt\"", "\"power-spilt\"", "there is no arrangement named `power-spilt`"),
    ("target = \"ring-clutch\"", "target = \"sun\"", "\"sun\"", "there is no lock named `sun`"),
    ("kind = \"lock-slow-close\"", "kind = \"lock-slow\"", "\"lock-slow\"", "`lock-slow` is not a word of `kind`"),
    ("value = 5", "value = 0.5", "0.5", "`value` must be from 1 to 1000"),
    ("to_s = 12", "to_s = 9", "9", "the fault ends at 9 s, not after it begins at 9 s"),
    ("t_s = 8", "t_s = 2", "2", "`t_s` is 2 after 2: times must rise"),
    ("t_s = 10\n", "t_s = -1\n", "-1", "`t_s` must be from 0 to 36000 s"),
    ("[[grade]]\nt_s = 5\npercent", "[[pedal]]\nt_s = 5\nshare = 1\n[[grade]]\nt_s = 5\npercent", "[[pedal]]", "cannot follow both [[speed]] and [[pedal]]"),
    ("percent = 4", "percents = 4", "percents", "unknown key `percents` in [[grade]]"),
    ("kmh = 40", "mps = 12", "mps", "unknown key `mps` in [[speed]]"),
    ("kmh = 40", "kmh = 140", "140", "140 km/h is above the vehicle's 125 km/h"),
    ("duration_s = 20", "duration_s = 9.5", "10", "10 s is after the end of the drive at 9.5 s"),
    ("duration_s = 20\n", "", "", "the file lacks the key `duration_s`"),
    ("format = 1", "format = 3", "3", "format 3 is not known"),
    ("[[request]]\nt_s = 2", "[[plates]]\nlock = \"ring-brake\"\nrise_k = -5\n[[request]]\nt_s = 2", "-5", "`rise_k` must be from 0 to 1000 K"),
    ("[[request]]\nt_s = 2", "[[plates]]\nlock = \"ring-brake\"\nrise_k = 5\n[[plates]]\nlock = \"ring-brake\"\nrise_k = 5\n[[request]]\nt_s = 2", "\"ring-brake\"", "the plates of `ring-brake` are told twice"),
    ("[[request]]\nt_s = 2", "[[reqest]]\nt_s = 2", "reqest", "unknown table `reqest`"),
    ("kind = \"lock-slow-close\"\ntarget = \"ring-clutch\"\nvalue = 5", "kind = \"reset\"\nvalue = 5", "value", "`value` belongs to a fault of kind"),
    ("kind = \"lock-slow-close\"\ntarget = \"ring-clutch\"\nvalue = 5", "kind = \"sensor-noise\"\ntarget = \"ring\"\nvalue = 0", "0", "`value` must be above 0, at most 10000 rpm"),
    ("kind = \"lock-slow-close\"\ntarget = \"ring-clutch\"\nvalue = 5", "kind = \"sensor-late\"\ntarget = \"ring\"\nvalue = 80", "80", "the sensor `ring` would be 81 ms late; the plant keeps 63 ms"),
    ("kind = \"lock-slow-close\"\ntarget = \"ring-clutch\"\nvalue = 5", "kind = \"tick-jitter\"\nvalue = 2.5", "2.5", "`value` must be a whole number from 1 to 1000"),
    ("kind = \"lock-slow-close\"\ntarget = \"ring-clutch\"\nvalue = 5", "kind = \"wheel-slip\"\nvalue = -1", "-1", "`value` must be from 0 to 2"),
    ("to_s = 12\nkind = \"lock-slow-close\"\ntarget = \"ring-clutch\"\nvalue = 5", "kind = \"supply-dip\"", "\"supply-dip\"", "the fault `supply-dip` lacks the key `to_s`"),
];

#[test]
fn each_planted_mistake_is_told_where_it_stands() {
    let mut all = String::new();
    for (from, to, under, says) in MISTAKES {
        assert!(GOOD.contains(from), "{from}");
        let text = GOOD.replacen(from, to, 1);
        let found = match read(&text) {
            Ok(scenario) => scenario.warnings,
            Err(found) => found,
        };
        let hit = found.sorted().iter().any(|d| {
            let at = d.span.clone().and_then(|s| text.get(s)).unwrap_or("");
            at == *under && d.message.contains(says)
        });
        assert!(hit, "{says}\n{found}");
        assert_eq!(found.sorted().len(), 1, "{found}");
        all.push_str(&format!("{found}\n"));
    }
    assert!(all.lines().all(|l| l.chars().count() <= 80), "80 columns");
    let dog =
        "format = 1\nname = \"x\"\nduration_s = 5\n[[plates]]\nlock = \"disconnect\"\nrise_k = 9\n";
    let told = scenario::parse("drive.toml", dog, &demo("axle")).expect_err("a dog").to_string();
    assert!(told.contains("the lock `disconnect` is a dog: it has no plates"), "{told}");
    let axle = scenario::parse(
        "drive.toml",
        "format = 1\nname = \"x\"\nduration_s = 5\n[[fault]]\nfrom_s = 1\nkind = \"engine-stall\"\n",
        &demo("axle"),
    );
    let told = axle.expect_err("no engine").to_string();
    assert!(told.contains("`engine-stall` needs an engine"), "{told}");
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("snapshots/scenario-faults.txt");
    if std::env::var_os("SLIPWARDEN_WRITE").is_some() {
        std::fs::write(&path, &all).expect("written");
    }
    let reviewed = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(all == reviewed, "wording changed: review, then run with SLIPWARDEN_WRITE=1");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, ..ProptestConfig::default() })]

    /// A damaged ready scenario is read or refused, never a panic.
    #[test]
    fn damaged_scenarios_are_read_or_refused(
        which in 0..READY.len(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), 0usize..10, "[ -~\n]{0,8}"), 1..5),
    ) {
        let driveline = demo(READY[which].driveline);
        let mut text: Vec<char> = READY[which].text.chars().collect();
        for (at, length, put) in changes {
            let from = at.index(text.len().max(1)).min(text.len());
            let to = (from + length).min(text.len());
            drop(text.splice(from..to, put.chars()).collect::<Vec<_>>());
        }
        let text: String = text.into_iter().collect();
        match scenario::parse("damaged.toml", &text, &driveline) {
            Ok(read) => {
                prop_assert!(read.setup.requests.windows(2).all(|w| w[0].0 < w[1].0));
                prop_assert!(read.setup.requests.iter().all(|r| r.1 < driveline.arrangements.len()));
            }
            Err(found) => prop_assert!(found.has_errors() && !found.render(true).is_empty()),
        }
    }
}
