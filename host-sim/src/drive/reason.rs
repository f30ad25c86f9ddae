//! What the supervisor says, in words that a person can act on.

use supervisor::check::TableFault;
use supervisor::status::Refusal;
use supervisor::table::{Action, Table, Why};

use crate::driveline::Driveline;

fn lock_name(driveline: &Driveline, lock: u8) -> &str {
    driveline.locks.get(usize::from(lock)).map_or("a lock that does not exist", |l| &l.name)
}

/// "close ring-clutch", "open ring-brake".
pub fn step_text(driveline: &Driveline, table: &Table, step: u16) -> String {
    match table.step(step) {
        Some(s) => {
            let verb = if s.action == Action::Close { "close" } else { "open" };
            format!("{verb} {}", lock_name(driveline, s.lock))
        }
        None => "a step that does not exist".to_owned(),
    }
}

fn why_text(why: Why) -> &'static str {
    match why {
        Why::Arrived => "it is reached already",
        Why::Conflict => "every way there passes through a forbidden lock set",
        Why::NothingSynchronises => "nothing can bring the slip of a lock on the way to zero",
        Why::Stuck => "a stuck lock is in the way",
        Why::Impossible => "this lock set is impossible with the stuck lock",
        Why::NoOtherWay => "there is no other way",
    }
}

fn fault_text(fault: TableFault) -> String {
    match fault {
        TableFault::Format => "it is of another layout version".to_owned(),
        TableFault::Size => "a part of it has the wrong length".to_owned(),
        TableFault::Timing => "a period or a time-out is zero or too long".to_owned(),
        TableFault::Sensors => "the data of the output or of a sensor are not sound".to_owned(),
        TableFault::Lock(lock) => format!("the data of lock {lock} are not sound"),
        TableFault::Relation => "a rest test or a parity relation is not sound".to_owned(),
        TableFault::Conflict => "a conflict or an overlap is not sound".to_owned(),
        TableFault::Arrangement(a) => format!("the data of arrangement {a} are not sound"),
        TableFault::Step(step) => format!("the data of step {step} are not sound"),
        TableFault::Hash => "its content does not match its hash".to_owned(),
    }
}

/// A refusal with its reason.
pub fn refusal_text(driveline: &Driveline, table: &Table, refusal: Refusal) -> String {
    let step = |s: u16| step_text(driveline, table, s);
    let lock = |l: u8| lock_name(driveline, l);
    match refusal {
        Refusal::NoWay(why) => format!("no way leads there: {}", why_text(why)),
        Refusal::ArrangementSpeed { arrangement } => {
            let name = driveline.arrangements.get(usize::from(arrangement));
            let name = name.map_or("an arrangement that does not exist", |a| &a.name);
            format!("in {name}, a shaft would leave its limits at this road speed")
        }
        Refusal::RoadSpeed { step: s } => {
            format!("to {}, a shaft would leave its limits at this road speed", step(s))
        }
        Refusal::TargetSpeed { step: s } => {
            format!("to {}, a machine would have to turn beyond its limits", step(s))
        }
        Refusal::Torque { step: s } => {
            format!("to {}, the demand is more than can be handed over", step(s))
        }
        Refusal::Hot { lock: l } => format!("the plates of {} are too hot", lock(l)),
        Refusal::EngineNotRunning => "the engine does not run".to_owned(),
        Refusal::Sensors { step: s } => {
            format!("to {}, a speed sensor is missing or contradicts the others", step(s))
        }
        Refusal::NotCalm => "the output changes speed faster than wheels in grip can".to_owned(),
        Refusal::Switch { lock: l } => {
            format!("the switch of {} contradicts the speeds", lock(l))
        }
        Refusal::SyncTimeout { lock: l } => {
            let name = lock(l);
            format!("the slip of {name} was not brought to zero in time, or did not stay there")
        }
        Refusal::UnloadTimeout { lock: l } => {
            format!("{} was not unloaded in time", lock(l))
        }
        Refusal::NotClosed { lock: l } => {
            format!("{} was ordered closed but not shown closed in time", lock(l))
        }
        Refusal::NotOpened { lock: l } => {
            format!("{} was ordered open but not shown open in time", lock(l))
        }
        Refusal::Interlock { lock: l } => format!(
            "the interlock kept {} open: a lock that conflicts with it is not surely open",
            lock(l)
        ),
        Refusal::Table(fault) => format!("the table cannot be used: {}", fault_text(fault)),
        Refusal::OverlapTooLong => {
            "two locks stayed closed together for longer than an overlap may last".to_owned()
        }
    }
}
