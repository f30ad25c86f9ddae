//! How much work a review does.

/// How deep a review looks.
#[derive(clap::ValueEnum, Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Depth {
    /// About a minute: no lock fault, small samples.
    #[default]
    Quick,
    /// Much longer: one lock fault in every history, larger samples.
    Full,
}

impl Depth {
    /// The word of the command line.
    pub fn word(self) -> &'static str {
        match self {
            Depth::Quick => "quick",
            Depth::Full => "full",
        }
    }

    /// The work that it stands for.
    pub fn work(self) -> Work {
        match self {
            Depth::Quick => Work {
                faults: 0,
                states: 1_000_000,
                memory_mib: 1024,
                cases: 384,
                case_faults: 1,
                defects: 12,
                defect_states: 100_000,
                plant_defects: 0,
                plant_defect_cases: 0,
                grid: (16, 12),
            },
            Depth::Full => Work {
                faults: 1,
                states: 400_000_000,
                memory_mib: 4096,
                cases: 20_000,
                case_faults: 1,
                defects: 240,
                defect_states: 4_000_000,
                plant_defects: 60,
                plant_defect_cases: 400,
                grid: (40, 30),
            },
        }
    }
}

/// How much of each kind of evidence is made. Counts, never times, so that the result does not
/// depend on the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Work {
    /// Most lock faults in one history of the exploration.
    pub faults: u8,
    /// Most states of the exploration; beyond them it is inconclusive.
    pub states: usize,
    /// Most memory for states, MiB.
    pub memory_mib: usize,
    /// Cases of the campaign; 0 makes none.
    pub cases: u64,
    /// Faults injected in each case.
    pub case_faults: u8,
    /// How many planted defects of the table are tried by board, exploration, audit and drives;
    /// 0 tries none.
    pub defects: usize,
    /// Most states of each exploration with a planted defect; beyond them it is given up, and
    /// the other judges alone can find the defect.
    pub defect_states: usize,
    /// How many planted defects are tried by campaigns; 0 tries none.
    pub plant_defects: usize,
    /// Most cases for each of them.
    pub plant_defect_cases: u64,
    /// Speeds and forces of the energy map.
    pub grid: (usize, usize),
}

impl Work {
    /// As little as there can be: what tests begin from.
    pub const LEAST: Work = Work {
        faults: 0,
        states: 1,
        memory_mib: 1,
        cases: 0,
        case_faults: 0,
        defects: 0,
        defect_states: 0,
        plant_defects: 0,
        plant_defect_cases: 0,
        grid: (1, 1),
    };
}
