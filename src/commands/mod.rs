//! Floor 9: the command line. `cli` defines what can be typed and validates
//! it; a file each carries a command out; the exit status is decided here.

mod chooser;
pub mod cli;
mod clock;
mod completions;
mod copy;
mod course;
mod earlier;
mod export;
mod habits;
mod help;
mod inputs;
mod interrupt;
mod jobs;
mod keeper;
mod logging;
mod machine_parts;
mod making;
mod manpages;
mod processor;
mod programme;
mod progress;
mod read;
mod read_words;
mod recordings;
mod say;
pub mod settings;
mod sheet;
mod shell_word;
mod sitting_job;
mod snapshots;
mod steady;
mod stretch;
mod tape;
mod ticking;
mod tone;
mod watch;

use std::env;
use std::ffi::OsString;
use std::process::ExitCode;
use std::sync::Arc;

use clap::{ColorChoice, CommandFactory, FromArgMatches, ValueEnum};
use cli::{Cli, Command, PartsChoice, ReadOptions, ReferenceOptions, SittingOptions};
use say::{complain, write_out};
use serde::{Deserialize, Serialize};
use settings::Settings;

use crate::records::cards::CardError;
use crate::records::places;
use crate::report::numbers::is_harmful;

/// How a command ends. The numbers are what scripts rely on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize, Serialize)]
pub enum Exit {
    /// All went well.
    Done = 0,
    /// The command line was not understood.
    Usage = 2,
    /// A file could not be read or written.
    File = 3,
    /// No usable reference in a file or an input.
    NoReference = 4,
    /// Sound input or output.
    Sound = 5,
    /// The terminal.
    Terminal = 6,
}

/// A command that could not be carried out: what the shell is told and one
/// sentence for the user.
#[derive(Debug)]
pub struct Failure {
    /// What the shell is told.
    pub exit: Exit,
    /// What happened, what was found, what to do next.
    pub message: String,
}

/// How every command returns.
pub type Outcome = Result<Exit, Failure>;

impl Failure {
    /// A failure with its sentence.
    pub fn new(exit: Exit, message: impl Into<String>) -> Self {
        Self {
            exit,
            message: message.into(),
        }
    }
}

/// Nobody named a folder for data and the system has none.
fn no_folder() -> Failure {
    let sentence = "this system names no folder for data; name one with --data FOLDER";
    Failure::new(Exit::File, sentence)
}

/// The cards that were named must do: nothing is measured without them.
fn with_cards(
    reference: &mut ReferenceOptions,
    parts: &mut PartsChoice,
    machine: Option<&str>,
) -> Result<(), Failure> {
    let cannot = |error: CardError| Failure::new(Exit::File, error.to_string());
    reference.read_card().map_err(cannot)?;
    let places = reference.data.places();
    parts.read_card(&places, machine).map_err(cannot)
}

/// A job that was named may say which machine it is.
fn with_cards_of_sitting(sitting: &mut SittingOptions, kind: places::Kind) -> Result<(), Failure> {
    let mut machine = sitting.machine.clone();
    if machine.is_none() {
        let places = sitting.reference.data.places();
        machine = sitting_job::machine_of(&places, kind, &sitting.job)?;
    }
    with_cards(
        &mut sitting.reference,
        &mut sitting.parts,
        machine.as_deref(),
    )
}

fn with_cards_of_reading(options: &mut ReadOptions) -> Result<(), Failure> {
    recordings::take_machine(options)?;
    with_cards(
        &mut options.reference,
        &mut options.parts,
        options.machine.as_deref(),
    )
}

/// A file that may not grow any more (`ulimit -f`) is told like a full disk:
/// unheard, the signal for it would end the program on the spot.
fn outlive_the_limit_of_a_file() {
    // Only fails for a signal that does not exist.
    let _ = signal_hook::flag::register(signal_hook::consts::SIGXFSZ, Arc::default());
}

/// What was typed, and what is set besides.
pub struct Typed {
    cli: Cli,
    settings: Settings,
}

/// Something that is set cannot be; whatever shows how to put it right goes on
/// all the same.
fn with_settings(command: &Command, settings: &Settings) -> Result<(), Failure> {
    let helps = matches!(
        command,
        Command::Settings(_) | Command::Help(_) | Command::Completions(_) | Command::Manpages(_)
    );
    match settings.faults().next() {
        Some(fault) if !helps => Err(Failure::new(Exit::Usage, fault)),
        _ => Ok(()),
    }
}

/// Carries out a command and turns its outcome into the exit status, with at
/// most one sentence on standard error.
pub fn run(typed: Typed) -> ExitCode {
    let Typed { cli, settings } = typed;
    outlive_the_limit_of_a_file();
    habits::take(&cli);
    let command = cli.command.unwrap_or_default();
    let outcome = with_settings(&command, &settings).and_then(|()| carry_out(command, &settings));
    match outcome {
        Ok(exit) => ExitCode::from(exit as u8),
        Err(failure) => {
            complain(&failure.message);
            ExitCode::from(failure.exit as u8)
        }
    }
}

fn carry_out(command: Command, settings: &Settings) -> Outcome {
    match command {
        Command::Watch(mut options) => {
            with_cards_of_sitting(&mut options.sitting, places::Kind::Measured)
                .and_then(|()| watch::run(&options.sitting, watch::Wanted::Watch(&options)))
        }
        Command::Practise(mut options) => {
            with_cards_of_sitting(&mut options.sitting, places::Kind::Rehearsal)
                .and_then(|()| watch::run(&options.sitting, watch::Wanted::Practise(&options)))
        }
        Command::Read(mut options) => with_cards_of_reading(&mut options)
            .inspect_err(|failure| recordings::tell_of_every_file(&options, failure))
            .and_then(|()| recordings::run(&options)),
        Command::Tape(options) => tape::run(&options),
        Command::Parts(options) => machine_parts::run(&options),
        Command::Inputs(options) => inputs::run(&options),
        Command::Tone(options) => tone::run(&options),
        Command::Clock(options) => clock::run(&options),
        Command::Snapshots(options) => snapshots::run(&options),
        Command::Completions(options) => completions::run(&options),
        Command::Jobs(options) => jobs::run(&options),
        Command::Manpages(options) => manpages::run(&options),
        Command::Settings(options) => settings::run(&options, settings),
        Command::Sheet(options) => sheet::run(&options),
        Command::Help(options) => help::run(&options),
    }
}

/// What was typed; where that cannot be understood, it is said and the program
/// ends.
pub fn typed() -> Typed {
    let arguments: Vec<OsString> = env::args_os().collect();
    let known = Cli::command();
    let settings = Settings::load(places::settings(), |name| env::var_os(name), &known);
    understood(&arguments, known, settings).unwrap_or_else(|mut error| {
        cli::offer_to_read(&mut error);
        // It repeats what was typed, a file's name perhaps.
        let plain = error.render().to_string();
        if plain.contains(|it| is_harmful(it) && it != '\n') {
            say::aside(&plain);
            std::process::exit(error.exit_code());
        }
        error.exit()
    })
}

fn understood(
    arguments: &[OsString],
    known: clap::Command,
    mut settings: Settings,
) -> Result<Typed, clap::Error> {
    let command = settings
        .applied_to(known)
        .color(color_of(arguments, &settings));
    let mut matches = command.clone().try_get_matches_from(arguments)?;
    if matches.subcommand().is_none() {
        // With all that is set for it.
        let watch = arguments.iter().cloned().chain([OsString::from("watch")]);
        matches = command.try_get_matches_from(watch)?;
    }
    settings.take_typed(&matches);
    let cli = Cli::from_arg_matches(&matches)?;
    Ok(Typed { cli, settings })
}

/// Colours for what is said while the command line is understood, which is
/// looked through for them before.
fn color_of(arguments: &[OsString], settings: &Settings) -> ColorChoice {
    let mut typed = None;
    let mut texts = arguments.iter().map(|it| it.to_str().unwrap_or_default());
    while let Some(text) = texts.next().filter(|it| *it != "--") {
        if text == "--color" {
            typed = texts.next().or(typed);
        } else if let Some(when) = text.strip_prefix("--color=") {
            typed = Some(when);
        }
    }
    let when = typed.or(settings.color()).unwrap_or_default();
    ColorChoice::from_str(when, false).unwrap_or(ColorChoice::Auto)
}
