//! `tapewright watch`.

use super::Outcome;
use super::cli::WatchOptions;

pub(super) fn run(options: WatchOptions) -> Outcome {
    let _ = options;
    todo!()
}
