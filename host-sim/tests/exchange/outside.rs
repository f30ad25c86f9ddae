//! A plant whose driver is outside: fed with the pedals, slope and requests of a drive, it comes
//! to the same bits. No archive and no C between.

use std::sync::Arc;

use host_sim::drive::closed_loop::{Prepared, Run};
use host_sim::drive::scenario::{by_name, parse};
use host_sim::export::{Fault, Part, Role, Session, Source, Value};
use host_sim::generated::demo_table;

/// A demo's half.
fn source(part: Part, name: &str) -> Source {
    let text = host_sim::driveline::demo(name).expect("an embedded demo");
    Source::new(part, text, None).expect("it is good")
}

fn reference(session: &Session, name: &str) -> u32 {
    let at = session.variables().list.iter().position(|v| v.name == name);
    u32::try_from(at.unwrap_or_else(|| panic!("there is no {name}"))).expect("few")
}

fn put(session: &mut Session, name: &str, value: Value) {
    let at = reference(session, name);
    session.set(at, value).unwrap_or_else(|e| panic!("{name}: {e:?}"));
}

fn get(session: &mut Session, name: &str) -> Value {
    let at = reference(session, name);
    session.get(at).unwrap_or_else(|e| panic!("{name}: {e:?}")).clone()
}

/// What one puts out under a name goes into the other.
fn pass(from: &mut Session, to: &mut Session) -> usize {
    let named = |session: &Session, role| {
        let list = session.variables().list.iter().filter(move |v| v.role == role);
        list.map(|v| v.name.clone()).collect::<Vec<_>>()
    };
    let wanted = named(to, Role::Input);
    let given = named(from, Role::Output);
    let both: Vec<&String> = given.iter().filter(|name| wanted.contains(name)).collect();
    for name in &both {
        put(to, name, get(from, name));
    }
    both.len()
}

#[test]
fn a_driver_outside_comes_to_the_same_bits() {
    let (d, table) = demo_table("shuttle").expect("an embedded demo");
    let ready = by_name("shuttle-tour").expect("a ready scenario");
    let setup = parse("tour", ready.text, &d).expect("it is good").setup;
    assert!(setup.faults.is_empty());
    let prepared = Arc::new(Prepared::new(&d, table.table()).expect("demos have a plant"));
    let mut run = Run::of(&prepared, &setup, 5).expect("it starts");

    let sources = [Part::Plant, Part::Supervisor].map(|part| source(part, "shuttle"));
    let mut plant = Session::new(&sources[0]).expect("it has a plant");
    let mut overseer = Session::new(&sources[1]).expect("it has a table");
    put(&mut plant, "start_speed_kmh", Value::Real(setup.start_speed_kmh));
    let start = setup.start_arrangement.map_or(-1, |a| a as i32);
    put(&mut plant, "start_arrangement", Value::Whole(start));
    put(&mut plant, "start_charge", Value::Real(setup.start_charge));
    put(&mut plant, "seed", Value::Whole(5));
    let pressed = setup.start_arrangement.map_or(0, |a| i32::from(d.arrangements[a].closed));
    put(&mut overseer, "pressed", Value::Whole(pressed));
    for unit in [&mut plant, &mut overseer] {
        unit.enter_initialisation().expect("it is made");
        unit.exit_initialisation().expect("it starts");
    }
    let tick_s = sources[0].tick_s();
    for n in 0..20_000u32 {
        let record = *run.next_tick().expect("it is long enough");
        let request = Value::Whole(record.truth.request.map_or(-1, i32::from));
        put(&mut overseer, "request", request);
        put(&mut overseer, "demand_nm", Value::Real(record.demand_nm));
        put(&mut plant, "demand_nm", Value::Real(record.demand_nm));
        put(&mut plant, "brake_torque_nm", Value::Real(record.brake_nm));
        put(&mut plant, "grade", Value::Real(record.truth.grade));
        assert!(pass(&mut plant, &mut overseer) > 20);
        overseer.step(f64::from(n) * tick_s, tick_s).expect("a tick");
        assert!(pass(&mut overseer, &mut plant) > 10);
        plant.step(f64::from(n) * tick_s, tick_s).expect("a tick");
    }
    let digest = Value::Text(format!("{:016x}", run.plant().digest()));
    assert_eq!(get(&mut plant, "digest"), digest);
    assert!(run.plant().road_speed_mps(run.model()) > 1.0, "it moved");
}

/// A torque that goes round the drive controller is the command at once, whatever stood before.
#[test]
fn a_direct_torque_is_the_command_at_once() {
    let source = source(Part::Plant, "axle");
    let mut plant = Session::new(&source).expect("it has a plant");
    plant.enter_initialisation().expect("it is made");
    plant.exit_initialisation().expect("it starts");
    let machine = source.driveline.machines[0].name.clone();
    put(&mut plant, &format!("order:{machine}"), Value::Whole(5));
    put(&mut plant, &format!("order_value:{machine}"), Value::Real(12.5));
    plant.step(0.0, source.tick_s()).expect("a tick");
    assert_eq!(get(&mut plant, &format!("command_nm:{machine}")), Value::Real(12.5));
}

/// Parameters are looked at when the run begins, and the token is that of the content.
#[test]
fn impossible_starts_and_changed_files_are_met() {
    let source = source(Part::Plant, "axle");
    for (name, value) in [
        ("start_speed_kmh", f64::NAN),
        ("start_speed_kmh", 1e9),
        ("start_charge", 1.5),
        ("start_charge", f64::INFINITY),
    ] {
        let mut plant = Session::new(&source).expect("it has a plant");
        put(&mut plant, name, Value::Real(value));
        plant.enter_initialisation().expect("it is made");
        let met = plant.exit_initialisation();
        assert!(matches!(met, Err(Fault::Error(text)) if text.contains(name)), "{name} {value}");
        // Once it is put right, the run begins.
        put(&mut plant, name, Value::Real(0.5));
        plant.exit_initialisation().expect("it starts");
    }
    let text = host_sim::driveline::demo("axle").expect("an embedded demo");
    let other = Source::new(Part::Plant, &format!("{text}\n# changed\n"), None).expect("good");
    let same = Source::new(Part::Plant, text, None).expect("good");
    assert_eq!(source.token, same.token);
    assert_ne!(source.token, other.token);
    let overseer = Source::new(Part::Supervisor, text, None).expect("good");
    assert_ne!(source.token, overseer.token);
    assert!(Source::new(Part::Plant, "format = 1\n", None).is_err());
}
