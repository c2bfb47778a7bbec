//! Parses, dispatches, ends with the exit status; nothing else.

use std::process::ExitCode;

use clap::Parser;
use tapewright::commands;

fn main() -> ExitCode {
    commands::run(commands::cli::Cli::parse())
}
