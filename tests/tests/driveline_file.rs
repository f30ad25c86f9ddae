//! The driveline file: the demos are read without a complaint, and every fault is told well.

use host_sim::driveline::{self, DEMOS, Purpose};

#[test]
fn the_demos_are_read_without_a_warning() {
    for name in DEMOS {
        let text = driveline::demo(name).expect("embedded");
        let checked = driveline::parse(name, text).unwrap_or_else(|e| panic!("{e}"));
        assert!(checked.warnings.is_empty(), "{}", checked.warnings);
        checked.ready_for(Purpose::Plant).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(checked.driveline.name, name);
    }
}
