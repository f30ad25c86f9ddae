//! The judges' rules in a sentence each, for the pages.

/// One rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rule {
    /// Its identifier.
    pub id: &'static str,
    /// What must hold, by the plant's truth.
    pub says: &'static str,
    /// What it means that nothing was measured.
    pub unseen: &'static str,
}

/// Every rule, in the judges' order.
pub const RULES: &[Rule] = &[
    Rule {
        id: "SW-CONFLICT",
        says: "No forbidden lock set is truly closed while a shaft that it holds turns.",
        unseen: "no forbidden lock set was closed in any drive, so there is no speed to measure",
    },
    Rule {
        id: "SW-SLIP",
        says: "A lock begins to carry torque only within its engage slip limit.",
        unseen: "no lock closed",
    },
    Rule {
        id: "SW-ENERGY",
        says: "The friction work of one closing stays within the lock's budget.",
        unseen: "no friction lock closed",
    },
    Rule {
        id: "SW-OVERSPEED",
        says: "No shaft passes its speed limits.",
        unseen: "no shaft has a limit",
    },
    Rule {
        id: "SW-OVERLAP",
        says: "A lock set that holds a machine is closed only at rest, for a bounded time, and \
               never with the engine joined.",
        unseen: "no lock set that holds a machine was closed in any drive",
    },
    Rule {
        id: "SW-ENGINE",
        says: "The engine is never turned backwards and never stalled by the supervisor.",
        unseen: "there is no engine, or it never ran",
    },
    Rule {
        id: "SW-STATED",
        says: "When the supervisor states an arrangement, the locks truly are so.",
        unseen: "no wrong arrangement was stated in any drive, so there is no time to measure",
    },
    Rule {
        id: "SW-REQUEST",
        says: "Every request ends, within a bound, in the arrangement or a stated refusal.",
        unseen: "no request was answered",
    },
    Rule {
        id: "SW-HEAT",
        says: "No friction lock closes while its plates are too hot, and none gets hotter than one more closing makes it.",
        unseen: "no friction lock worked",
    },
    Rule {
        id: "SW-BEGIN",
        says: "A closing is begun only while its slip is steady, what it will hold stands, and the wheels grip.",
        unseen: "no step closed a lock",
    },
    Rule {
        id: "SW-LOAD",
        says: "A lock that a step opens is unloaded when it is told to.",
        unseen: "no step opened a lock",
    },
    Rule {
        id: "SW-GAP",
        says: "Between two arrangements the push at the wheels is interrupted only in steps that are said to interrupt it, and no longer than they may take.",
        unseen: "no push was asked for in a transition",
    },
    Rule {
        id: "SW-MOTION",
        says: "A vehicle that stands and is asked for nothing stays, and one that is asked one way is not pushed the other way.",
        unseen: "there is no vehicle",
    },
    Rule {
        id: "SW-DECEL",
        says: "The driveline does not slow the vehicle down harder than it may unless that is asked for.",
        unseen: "the driveline never braked unasked",
    },
    Rule {
        id: "SW-CHATTER",
        says: "No lock is ordered closed more often than the stated times and attempts allow.",
        unseen: "no lock was ordered closed",
    },
    Rule {
        id: "SW-REACTION",
        says: "What goes wrong and shows is stated or ended within the fault tolerant time.",
        unseen: "nothing went wrong that shows",
    },
    Rule {
        id: "SW-RECOVERY",
        says: "Once every fault is gone, the arrangement asked for or a stated refusal comes back within a bound.",
        unseen: "no fault came and went",
    },
    Rule {
        id: "SW-ALARM",
        says: "Nothing is blamed in a driveline in which nothing has failed, and no lock is said to be unready that was ready.",
        unseen: "a statement is right or wrong: there is no margin",
    },
];

#[cfg(test)]
mod tests {
    use super::RULES;

    #[test]
    fn every_judge_has_its_rule_explained_and_in_order() {
        let text = crate::driveline::demo("shuttle").expect("an embedded demo");
        let d = crate::driveline::parse("shuttle", text).expect("valid").driveline;
        let k = crate::kinematics::analyse(&d).expect("it moves");
        let judges: Vec<&str> = crate::checkers::all(&d, &k).iter().map(|c| c.id()).collect();
        assert_eq!(judges, RULES.iter().map(|r| r.id).collect::<Vec<_>>());
    }
}
