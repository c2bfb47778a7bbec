//! `tapewright inputs`.

use super::Outcome;
use super::cli::InputsOptions;

pub(super) fn run(options: &InputsOptions) -> Outcome {
    let _ = options;
    todo!()
}
