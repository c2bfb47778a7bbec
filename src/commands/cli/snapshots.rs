//! What `tapewright snapshots` understands.

use clap::{Args, Subcommand};

use super::DataOptions;

pub(super) const ABOUT: &str = "\
List and compare kept snapshots

Lists what was kept in tapewright watch, oldest first, or puts two of them side by side and says \
what changed.

They stand under one numbering whichever job they lie in, with those of the record that earlier \
versions wrote. A file that cannot be used is told, and the rest is listed. What was noted and \
checked stands in the jobs: see tapewright jobs.";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright snapshots
          all of them; the newest is the last
  tapewright snapshots --machine \"deck 4\"
          those of one machine
  tapewright snapshots compare
          the newest after, and the newest before of the same machine, speed
          and direction
  tapewright snapshots compare 3 7
          the third and the seventh of the list
  tapewright snapshots --rehearsal
          what was kept of the simulated machine

Columns of the list: the number to call it by, when it was kept, machine, what
it was kept as, deviation of speed with its ± (positive is fast), weighted
flutter (two-sigma).

Exit status: 0 done, 2 usage or nothing to compare, 3 a file could not be
read; the rest is listed.";

/// `tapewright snapshots`.
#[derive(Args, Debug)]
pub struct SnapshotsOptions {
    /// What to do; the list when nothing is said.
    #[command(subcommand)]
    pub action: Option<SnapshotsAction>,

    /// Only those of this machine
    #[arg(long, short, value_name = "NAME", global = true)]
    pub machine: Option<String>,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub data: DataOptions,

    /// What was kept of the simulated machine
    #[arg(long, global = true)]
    pub rehearsal: bool,
}

/// What `tapewright snapshots` can do.
#[derive(Debug, Subcommand)]
pub enum SnapshotsAction {
    /// List them (as without this word)
    List,
    /// Put two side by side and say what changed
    Compare {
        /// Their numbers in the list [default: the newest after, and the
        /// newest before of the same machine, speed and direction]
        #[arg(value_name = "NUMBER", num_args = 2)]
        numbers: Vec<usize>,
    },
}
