//! Parses, dispatches, ends with the exit status; nothing else.

use std::process::ExitCode;

use tapewright::commands;

fn main() -> ExitCode {
    commands::run(commands::typed())
}
