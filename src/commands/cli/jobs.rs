//! What `tapewright jobs` understands.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use super::DataOptions;

pub(super) const ABOUT: &str = "\
List, compare and export jobs

A job holds all that was kept of one machine while it was worked on: snapshots, checks of the \
wiper, notes, who owns it. It is one file of lines of JSON in the folder jobs in your system's \
folder for data, and is only ever added to: what was wrong is corrected by a line that names the \
old text.

A job is called by its name, by its file's name without .jsonl, or by a path that ends in .jsonl. \
Jobs of the simulated machine lie apart in the folder rehearsals, where they are looked for when \
no measured job has that name. A link in one of the two folders is no job.";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright jobs
          all of them, oldest first
  tapewright jobs find belt
          those that have the word anywhere: in names, notes, serial numbers
  tapewright jobs show \"2026-11-29 deck 4\"
          everything in it
  tapewright jobs history --machine \"deck 4\" --picture deck-4.svg
          did it stay right since last year?
  tapewright jobs compare \"2025-11-29 deck 4\" \"2026-11-29 deck 4\"
          how it was left then and now, side by side
  tapewright jobs note \"2026-11-29 deck 4\" new belt, capstan cleaned
          adds a note
  tapewright jobs correct \"2026-11-29 deck 4\" --serial 0042
          says, or corrects, what is known of the machine
  tapewright jobs correct \"2026-11-29 deck 4\" --note 2 \"new belt\"
          another text in place of the second note
  tapewright jobs export \"2026-11-29 deck 4\" --into tables
          readings, speed and flutter against time, lines and more as CSV
  tapewright jobs columns
          what stands in which column of these

Exit status: 0 done, 2 usage or no such job, 3 a job could not be read or written.";

/// `tapewright jobs`.
#[derive(Args, Debug)]
pub struct JobsOptions {
    /// What to do; the list when nothing is said.
    #[command(subcommand)]
    pub action: Option<JobsAction>,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub data: DataOptions,

    /// Those of the simulated machine only
    #[arg(long, global = true)]
    pub rehearsal: bool,
}

/// What `tapewright jobs` can do.
#[derive(Debug, Subcommand)]
pub enum JobsAction {
    /// List them (as without this word)
    List,
    /// List those that have a text anywhere
    Find {
        /// Part of a name, a note, a serial number
        #[arg(value_name = "TEXT")]
        text: String,
    },
    /// Show all that is in one
    Show {
        /// Its name, or its file
        #[arg(value_name = "JOB")]
        job: String,
    },
    /// Show one machine from job to job: did it stay right?
    History(HistoryOptions),
    /// Put how a machine was left in two jobs side by side
    Compare {
        /// The two; the earlier one stands on the left
        #[arg(value_name = "JOB", num_args = 2, required = true)]
        jobs: Vec<String>,
    },
    /// Add a note
    Note {
        /// Its name, or its file
        #[arg(value_name = "JOB")]
        job: String,
        /// The note; several words need no quotes
        #[arg(value_name = "TEXT", num_args = 1.., required = true)]
        text: Vec<String>,
    },
    /// Say or correct what is known of the machine, or a note
    Correct(CorrectOptions),
    /// Write tables for a spreadsheet or a script
    Export(ExportOptions),
    /// Show what stands in which column of these tables
    Columns,
}

/// `tapewright jobs history`.
#[derive(Args, Debug)]
pub struct HistoryOptions {
    /// The machine
    #[arg(long, short, value_name = "NAME")]
    pub machine: String,

    /// Draw its speed from job to job into this file, .svg or .png; further
    /// speeds or directions of the machine get a number behind its name
    #[arg(long, value_name = "FILE")]
    pub picture: Option<PathBuf>,

    /// Replace a file that is there
    #[arg(long)]
    pub replace: bool,
}

/// `tapewright jobs correct`.
#[derive(Args, Debug)]
pub struct CorrectOptions {
    /// Its name, or its file
    #[arg(value_name = "JOB")]
    pub job: String,

    /// Name of the machine; what was kept under the wrong one is its own from
    /// then on
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub machine: Option<String>,

    /// Serial number
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub serial: Option<String>,

    /// What its owner says of it
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub owner_note: Option<String>,

    /// What it runs from: cells, mains, a bench supply
    #[arg(long, value_name = "TEXT", allow_hyphen_values = true)]
    pub supply: Option<String>,

    /// Another text in place of a note, by its number in tapewright jobs show
    #[arg(long, num_args = 2, value_names = ["NUMBER", "TEXT"], allow_hyphen_values = true)]
    pub note: Option<Vec<String>>,
}

/// `tapewright jobs export`.
#[derive(Args, Debug)]
pub struct ExportOptions {
    /// Its name, or its file
    #[arg(value_name = "JOB")]
    pub job: String,

    /// Folder for the files, made where it is not there
    #[arg(long, value_name = "FOLDER")]
    pub into: PathBuf,

    /// A file of CSV (RFC 4180) for each table, or one of JSON for all
    #[arg(long, value_enum, default_value_t)]
    pub format: TablesFormat,

    /// Replace files that are there
    #[arg(long)]
    pub replace: bool,
}

/// How tables are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum TablesFormat {
    /// Comma-separated values, a file a table.
    #[default]
    Csv,
    /// One object for all tables.
    Json,
}
