//! `tapewright tone`.

use super::Outcome;
use super::cli::ToneOptions;

pub(super) fn run(options: &ToneOptions) -> Outcome {
    let _ = options;
    todo!()
}
