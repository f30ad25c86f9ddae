//! Which share of a campaign this machine runs: case `k` belongs to shard `k mod n`.

/// A share of a campaign.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shard {
    /// Which one, from 0.
    pub index: u64,
    /// Of how many, 1 or more.
    pub of: u64,
}

/// Most shards of a campaign.
const MOST_SHARDS: u64 = 100_000;

impl Shard {
    /// The whole campaign as one share.
    pub const WHOLE: Shard = Shard { index: 0, of: 1 };

    /// A share; `None` when there is none of that number.
    pub fn new(index: u64, of: u64) -> Option<Shard> {
        (index < of && of <= MOST_SHARDS).then_some(Shard { index, of })
    }

    /// How many of `cases` cases belong to it.
    pub fn share_of(&self, cases: u64) -> u64 {
        (cases + self.of - 1 - self.index) / self.of
    }

    /// Number in the campaign of its `n`-th case.
    pub fn case(&self, n: u64) -> u64 {
        n * self.of + self.index
    }
}

/// `i/n` from the command line.
///
/// # Errors
/// A sentence that says what is wrong and what to write.
pub fn shard_from(text: &str) -> Result<Shard, String> {
    let parts = text.split_once('/');
    let parsed = parts.and_then(|(i, n)| Some((i.trim().parse().ok()?, n.trim().parse().ok()?)));
    parsed.and_then(|(index, of)| Shard::new(index, of)).ok_or_else(|| {
        format!("{text:?} is no share of a campaign: write i/n with i from 0 to n-1, like 0/8")
    })
}

/// The share that an array job gives this process, with where that was read; `None` outside of one.
/// `count` is the number of shares where the job does not say it; `read` looks a variable up.
///
/// # Errors
/// A sentence when the variables contradict each other.
pub(super) fn shard_of_job(
    count: Option<u64>,
    read: impl Fn(&str) -> Option<String>,
) -> Result<Option<(Shard, &'static str)>, String> {
    let number = |name: &str| -> Result<Option<u64>, String> {
        read(name)
            .map(|text| {
                text.trim().parse().map_err(|_| format!("{name} is {text:?}, not a number"))
            })
            .transpose()
    };
    // Slurm: sbatch manual, "JOB ARRAY"; the count is that of the tasks of the array.
    if let Some(id) = number("SLURM_ARRAY_TASK_ID")? {
        let first = number("SLURM_ARRAY_TASK_MIN")?.unwrap_or(0);
        let step = number("SLURM_ARRAY_TASK_STEP")?.unwrap_or(1).max(1);
        let tasks = match count {
            Some(count) => Some(count),
            None => number("SLURM_ARRAY_TASK_COUNT")?,
        };
        let Some(of) = tasks else {
            return Err("SLURM_ARRAY_TASK_COUNT is not set: give --shards".to_string());
        };
        let shard = id.checked_sub(first).and_then(|i| Shard::new(i / step, of));
        return match shard {
            Some(shard) => Ok(Some((shard, "SLURM_ARRAY_TASK_ID"))),
            None => Err(format!("task {id} from {first} is none of {of} shares")),
        };
    }
    // Kubernetes: "Jobs", completion mode Indexed; the count is not told to the container.
    if let Some(index) = number("JOB_COMPLETION_INDEX")? {
        let Some(of) = count else {
            return Err(
                "JOB_COMPLETION_INDEX is set but not how many there are: give --shards".to_string()
            );
        };
        return match Shard::new(index, of) {
            Some(shard) => Ok(Some((shard, "JOB_COMPLETION_INDEX"))),
            None => Err(format!("index {index} is none of {of} shares")),
        };
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_case_belongs_to_one_share() {
        for (cases, of) in [(0, 1), (1, 3), (10, 3), (11, 4), (12, 4)] {
            let mut seen = vec![0; cases as usize];
            for index in 0..of {
                let shard = Shard::new(index, of).expect("a share");
                for n in 0..shard.share_of(cases) {
                    seen[shard.case(n) as usize] += 1;
                }
            }
            assert!(seen.iter().all(|&n| n == 1), "{cases} cases, {of} shares: {seen:?}");
        }
    }

    #[test]
    fn shares_are_read_and_nonsense_is_refused() {
        assert_eq!(shard_from("2/8"), Ok(Shard { index: 2, of: 8 }));
        for wrong in ["8/8", "1", "/", "-1/2", "1/0", "a/b", "1/2/3", ""] {
            assert!(shard_from(wrong).is_err_and(|why| why.contains("i/n")), "{wrong}");
        }
    }

    #[test]
    fn the_variables_of_array_jobs_are_understood() {
        let job = |list: &'static [(&str, &str)], count| {
            shard_of_job(count, |name| {
                list.iter().find(|(key, _)| *key == name).map(|(_, value)| value.to_string())
            })
        };
        let shard = |index, of, name| Ok(Some((Shard { index, of }, name)));
        assert_eq!(job(&[], None), Ok(None));
        let slurm: &[_] = &[
            ("SLURM_ARRAY_TASK_ID", "7"),
            ("SLURM_ARRAY_TASK_MIN", "1"),
            ("SLURM_ARRAY_TASK_STEP", "2"),
            ("SLURM_ARRAY_TASK_COUNT", "4"),
        ];
        assert_eq!(job(slurm, None), shard(3, 4, "SLURM_ARRAY_TASK_ID"));
        let indexed: &[_] = &[("JOB_COMPLETION_INDEX", "2")];
        assert_eq!(job(indexed, Some(5)), shard(2, 5, "JOB_COMPLETION_INDEX"));
        assert!(job(indexed, None).is_err() && job(indexed, Some(2)).is_err());
        assert!(job(&[("SLURM_ARRAY_TASK_ID", "x")], Some(2)).is_err());
    }
}
