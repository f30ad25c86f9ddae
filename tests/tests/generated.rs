//! Generated files: none is stale, none is left over, and the tables that a board would get
//! are the tables that the host builds.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use host_sim::driveline::DEMOS;
use host_sim::generated::{demo_table, files};
use slipwarden_tests::tables::DEMO_TABLES;
use supervisor::bits::Bits;
use supervisor::hash::table_hash;
use supervisor::table::{Stuck, WAYS};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

#[test]
fn no_generated_file_is_stale() {
    let stale: Vec<String> = files()
        .expect("the demos have tables")
        .into_iter()
        .filter(|f| std::fs::read(root().join(&f.path)).ok().as_deref() != Some(f.text.as_bytes()))
        .map(|f| f.path)
        .collect();
    assert!(stale.is_empty(), "stale: {stale:?}\nreview the change, then run `cargo renew`");
}

#[test]
fn generating_twice_gives_the_same_bytes() {
    assert_eq!(files(), files());
}

#[test]
fn nothing_is_left_over_where_only_generated_files_belong() {
    let known: BTreeSet<String> =
        files().expect("the demos have tables").into_iter().map(|f| f.path).collect();
    let by_hand = ["tests/src/tables/mod.rs"];
    for folder in ["tests/src/tables", "docs/pictures"] {
        for entry in std::fs::read_dir(root().join(folder)).expect("the folder exists") {
            let name = entry.expect("an entry").file_name();
            let path = format!("{folder}/{}", name.to_string_lossy());
            assert!(
                known.contains(&path) || by_hand.contains(&path.as_str()),
                "{path} is nobody's"
            );
        }
    }
}

/// Two different ways to the same content: the compiler's reading of the generated source,
/// and the builder's own vectors.
#[test]
fn the_static_tables_are_the_tables_that_the_host_builds() {
    assert_eq!(DEMO_TABLES.map(|(name, _)| name).as_slice(), DEMOS.as_slice());
    for (name, fixed) in DEMO_TABLES {
        let (_, data) = demo_table(name).expect("a table");
        let built = data.table();
        assert_eq!(fixed.hash, table_hash(fixed), "{name}: stored hash");
        assert_eq!(fixed.hash, table_hash(&built), "{name}: hash of the built table");
        assert_eq!(format!("{fixed:?}"), format!("{built:?}"), "{name}");
    }
}

/// A hash that stays when the content changes would prove nothing.
#[test]
fn any_change_of_a_static_table_changes_its_hash() {
    for (name, fixed) in DEMO_TABLES {
        let mut locks = fixed.locks.to_vec();
        for lock in 0..locks.len() {
            let old = locks[lock];
            locks[lock].slip_max = f32::from_bits(old.slip_max.to_bits() + 1);
            let changed = supervisor::table::Table { locks: &locks, ..*fixed };
            assert_ne!(table_hash(&changed), fixed.hash, "{name}: slip_max of lock {lock}");
            locks[lock] = old;
        }
        for dropped in 0..fixed.conflicts.len() {
            let mut conflicts = fixed.conflicts.to_vec();
            conflicts.remove(dropped);
            let changed = supervisor::table::Table { conflicts: &conflicts, ..*fixed };
            assert_ne!(table_hash(&changed), fixed.hash, "{name}: without conflict {dropped}");
        }
        let mut next = fixed.next.to_vec();
        for cell in 0..next.len() {
            next[cell] ^= 1;
            let changed = supervisor::table::Table { next: &next, ..*fixed };
            assert_ne!(table_hash(&changed), fixed.hash, "{name}: cell {cell}");
            next[cell] ^= 1;
        }
    }
}

/// The static table answers for every lock set, arrangement, stuck lock and way.
#[test]
fn every_cell_of_a_static_table_is_a_step_out_of_its_lock_set_or_a_reason() {
    for (name, fixed) in DEMO_TABLES {
        for way in 0..WAYS as u8 {
            for set in 0..fixed.sets.len() {
                for arrangement in 0..fixed.arrangements.len() {
                    let cell =
                        fixed.next_step(way, Stuck::None, Bits(set as u8), arrangement as u8);
                    if let Ok(step) = cell {
                        let step = &fixed.steps[usize::from(step)];
                        assert_eq!(step.from, Bits(set as u8), "{name}");
                    }
                }
            }
        }
    }
}
