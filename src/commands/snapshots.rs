//! `tapewright snapshots`.

use super::Outcome;
use super::cli::SnapshotsOptions;

pub(super) fn run(options: &SnapshotsOptions) -> Outcome {
    let _ = options;
    todo!()
}
