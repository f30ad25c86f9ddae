//! Each plan as orders, with numbers reckoned by hand.

use super::{calm_orders, calm_share, machine_orders};
use crate::bits::MAX_MACHINES;
use crate::decide::Plan;
use crate::fixture::{Owned, inputs};
use crate::heat::Heat;
use crate::io::{
    Inputs,
    LockReport::Open,
    MachineOrder::{self, Free, HoldSpeed, TakeTorque, Unload},
};
use crate::observe::{Memory, Reading};
use crate::status::Phase;
use crate::table::{Action, Duty, Pace, StepDuty};

fn hold(target_radps: f32) -> MachineOrder {
    HoldSpeed { target_radps }
}

fn take(nm: f32) -> MachineOrder {
    TakeTorque { nm }
}

fn orders(owned: &Owned, inputs: &Inputs, plan: Plan) -> [MachineOrder; 4] {
    at_try(0, owned, inputs, plan)
}

fn at_try(tries: u8, owned: &Owned, inputs: &Inputs, plan: Plan) -> [MachineOrder; 4] {
    let table = owned.table();
    let (heat, mut memory) = (Heat::default(), Memory::default());
    let reading = Reading::new(&table, inputs, &heat, &mut memory);
    // Whatever stood there before.
    let mut orders = [MachineOrder::Off; 4];
    machine_orders(&table, &reading, inputs, (plan, tries), &mut orders);
    orders
}

/// Output at this speed; `None`: its sensor is missing.
fn at(output: Option<f32>) -> Inputs {
    let mut inputs = inputs([0.0, 0.0], output.unwrap_or(0.0), [Open, Open]);
    inputs.speeds[2].valid = output.is_some();
    inputs
}

#[test]
fn cut_coast_and_what_the_table_does_not_have() {
    let owned = Owned::new();
    let inputs = at(Some(10.0));
    assert_eq!(orders(&owned, &inputs, Plan::Cut), [Unload; 4]);
    assert_eq!(orders(&owned, &inputs, Plan::Off), [MachineOrder::Off; 4]);
    assert_eq!(orders(&owned, &inputs, Plan::Coast), [Free; 4]);
    assert_eq!(orders(&owned, &inputs, Plan::Arrangement(0)), [Free; 4]);
    assert_eq!(orders(&owned, &inputs, Plan::Arrangement(2)), [Unload; 4]);
    assert_eq!(orders(&owned, &inputs, Plan::Step(4)), [Unload; 4]);
}

/// Pace 1.5 x output kept within 10..=20, machine at 2 x output + 3 x pace.
#[test]
fn an_arrangement_holds_speeds_within_the_pace() {
    let mut owned = Owned::new();
    let held = Duty::Hold { per_output: 2.0, per_pace: 3.0 };
    owned.arrangements[0].duties = [held, Duty::Unload, Duty::Free, Duty::Free];
    owned.arrangements[0].pace = Pace { per_output: 1.5, min: 10.0, max: 20.0 };
    for (output, target) in [(4.0, 38.0), (8.0, 52.0), (20.0, 100.0), (-4.0, 22.0)] {
        let got = orders(&owned, &at(Some(output)), Plan::Arrangement(0));
        assert_eq!(got, [hold(target), Unload, Free, Free], "output {output}");
    }
    owned.arrangements[0].duties[0] = Duty::Hold { per_output: f32::MAX, per_pace: 0.0 };
    let got = orders(&owned, &at(Some(4.0)), Plan::Arrangement(0));
    assert_eq!(got, [Unload, Unload, Free, Free], "what is no number is no target");
}

/// Without the road speed only what does not need it goes on; if anything does, nothing pushes.
#[test]
fn an_unknown_road_speed_unloads_where_it_is_needed() {
    let mut owned = Owned::new();
    let unknown = at(None);
    owned.arrangements[0].duties = [Duty::Free, Duty::Unload, Duty::Free, Duty::Unload];
    let got = orders(&owned, &unknown, Plan::Arrangement(0));
    assert_eq!(got, [Free, Unload, Free, Unload]);
    for (per_output, per_pace, pace, want) in [
        (0.0, 3.0, 0.0, Some(30.0)),
        (0.0, 0.0, 1.5, Some(0.0)),
        (0.0, 3.0, 1.5, None),
        (2.0, 3.0, 0.0, None),
        (2.0, 0.0, 1.5, None),
    ] {
        owned.arrangements[0].duties[0] = Duty::Hold { per_output, per_pace };
        owned.arrangements[0].pace = Pace { per_output: pace, min: 10.0, max: 20.0 };
        let got = orders(&owned, &unknown, Plan::Arrangement(0));
        let want = want.map_or([Unload; 4], |target| [hold(target), Unload, Free, Unload]);
        assert_eq!(got, want, "{per_output} {per_pace} {pace}");
    }
}

#[test]
fn a_step_synchronises_takes_and_unloads() {
    let mut owned = Owned::new();
    let step = &mut owned.steps[3];
    step.duties =
        [StepDuty::Sync, StepDuty::Take { share: -0.5 }, StepDuty::Free, StepDuty::Unload];
    (step.target_offset, step.target_min, step.target_max) = (1.5, -30.0, 40.0);
    step.demand_max = 80.0;
    let plan = Plan::Step(3);
    for (output, demand, target, torque) in [
        (10.0, 60.0, 11.5, -30.0),
        (10.0, -60.0, 11.5, 30.0),
        (39.0, 100.0, 40.0, -40.0),
        (-32.0, -100.0, -30.0, 40.0),
        (10.0, f32::NAN, 11.5, -0.0),
        (10.0, f32::INFINITY, 11.5, -0.0),
    ] {
        let inputs = Inputs { demand_nm: demand, ..at(Some(output)) };
        let got = orders(&owned, &inputs, plan);
        assert_eq!(got, [hold(target), take(torque), Free, Unload], "{output} {demand}");
    }
    let blind = Inputs { demand_nm: 10.0, ..at(None) };
    assert_eq!(orders(&owned, &blind, plan), [Unload, take(-5.0), Free, Unload]);
    owned.steps[3].duties[1] = StepDuty::Take { share: f32::MAX };
    let too_much = Inputs { demand_nm: 60.0, ..at(Some(10.0)) };
    let got = orders(&owned, &too_much, plan);
    assert_eq!(got, [hold(11.5), Unload, Free, Unload], "what is no number is no order");
}

/// Teeth may stand on teeth where the sensors are wrong by just the slip that is aimed at: not from both sides.
#[test]
fn every_second_try_comes_from_the_other_side() {
    let mut owned = Owned::new();
    let step = &mut owned.steps[3];
    step.duties = [StepDuty::Sync, StepDuty::Unload, StepDuty::Free, StepDuty::Unload];
    (step.target_offset, step.target_min, step.target_max) = (1.5, -30.0, 40.0);
    for (tries, output, target) in [
        (0, 10.0, 11.5),
        (1, 10.0, 8.5),
        (2, 10.0, 11.5),
        (3, 10.0, 8.5),
        (1, 42.0, 40.0),
        (1, -29.0, -30.0),
    ] {
        let got = at_try(tries, &owned, &at(Some(output)), Plan::Step(3));
        assert_eq!(got, [hold(target), Unload, Free, Unload], "{tries} {output}");
    }
}

/// A machine that turns faster than a share of its shaft's limits is brought to that, in
/// both directions; an engine, and one that turns slower or whose speed nobody knows, is left alone.
#[test]
fn a_free_machine_is_kept_away_from_its_limits() {
    let owned = Owned::new();
    let mut table = owned.table();
    let sensor = table.rests[0].sensors;
    assert_eq!(sensor.count(), 1, "the shaft has a sensor of its own");
    let index = usize::from(sensor.lowest().expect("one"));
    let (least, most) = (table.sensors[index].allowed.min, table.sensors[index].allowed.max);
    let with = |table: &crate::table::Table, share: f32, speed: f32, valid: bool| {
        let mut inputs = at(Some(0.0));
        (inputs.speeds[index].radps, inputs.speeds[index].valid) = (speed, valid);
        let (heat, mut memory) = (Heat::default(), Memory::default());
        let reading = Reading::new(table, &inputs, &heat, &mut memory);
        let mut orders = [Unload; 4];
        calm_orders(table, &reading, share, &mut orders);
        orders[0]
    };
    for share in [0.5, 0.9] {
        assert_eq!(with(&table, share, 0.95 * most, true), hold(share * most));
        assert_eq!(with(&table, share, 0.95 * least, true), hold(share * least));
        assert_eq!(with(&table, share, 0.98 * share * most, true), Unload);
        assert_eq!(with(&table, share, 0.95 * most, false), Unload);
    }
    assert_eq!(with(&table, 0.0, 0.1 * most, true), hold(0.0));
    table.engine = Some(0);
    assert_eq!(with(&table, 0.5, 0.95 * most, true), Unload);
}

#[test]
fn machines_are_slowed_down_in_rest_and_where_none_synchronises() {
    let mut owned = Owned::new();
    let prepare = Phase::Prepare { step: 3, ready: 0 };
    let of = |owned: &Owned, plan, phase| calm_share(&owned.table(), plan, phase);
    assert_eq!(of(&owned, Plan::Cut, Phase::Rest), Some(0.5));
    assert_eq!(of(&owned, Plan::Cut, Phase::Settle), None);
    assert_eq!(of(&owned, Plan::Coast, Phase::Rest), None);
    assert_eq!(of(&owned, Plan::Step(3), prepare), None, "one synchronises");
    owned.steps[3].duties = [StepDuty::Unload; MAX_MACHINES];
    assert_eq!(of(&owned, Plan::Step(3), prepare), Some(0.0));
    assert_eq!(of(&owned, Plan::Step(3), Phase::Closing { step: 3 }), None);
    owned.steps[3].action = Action::Open;
    assert_eq!(of(&owned, Plan::Step(3), prepare), None);
}
