//! `tapewright read`.

use super::Outcome;
use super::cli::ReadOptions;

pub(super) fn run(options: &ReadOptions) -> Outcome {
    let _ = options;
    todo!()
}
