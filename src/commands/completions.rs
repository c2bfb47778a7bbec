//! `tapewright completions`: what a shell needs to complete commands and options.

use clap::CommandFactory;

use super::cli::{Cli, CompletionsOptions};
use super::say::write_as_it_is;
use super::{Exit, Outcome};

pub(super) fn run(options: &CompletionsOptions) -> Outcome {
    let mut script = Vec::new();
    clap_complete::generate(
        options.shell,
        &mut Cli::command(),
        "tapewright",
        &mut script,
    );
    write_as_it_is(&script)?;
    Ok(Exit::Done)
}
