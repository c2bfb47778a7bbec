//! What `tapewright sheet` understands.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use super::DataOptions;

pub(super) const ABOUT: &str = "\
Make the sheet of a job

What the machine's owner is given, and what the next technician wants to know: before and after in \
one picture, all readings with their ±, speed and flutter against time, what wavers, the trimmer's \
wiper, what was done, and how it was measured.

The page is one file that needs no network and no script, and prints on one or two pages, A4 or \
Letter. It lies beside the job's file unless --output says where. A sheet that is there already is \
made anew; any other file is left alone without --replace.";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright sheet
      of the job that was worked on last
  tapewright sheet \"2026-11-29 deck 4\" --workshop \"Corner bench, 12 Mill Lane\"
      of a job by its name, with the name of the workshop at its head
  tapewright sheet deck-4 --output deck-4.html --pictures pictures
      elsewhere, with its pictures as files of their own
  tapewright sheet deck-4 --format md --output -
      as Markdown on standard output
  tapewright sheet --rehearsal
      of the simulated machine: invented, and says so

Exit status: 0 done, 2 usage or no such job, 3 a file could not be read or
written.";

/// `tapewright sheet`.
#[derive(Args, Debug)]
pub struct SheetOptions {
    /// Name of the job, or its file [default: the one worked on last]
    #[arg(value_name = "JOB")]
    pub job: Option<String>,

    /// What it is written as
    #[arg(long, value_enum, value_name = "FORMAT", default_value = "html")]
    pub format: SheetFormat,

    /// File to write; - is standard output [default: a page beside the job's
    /// file, standard output for all else]
    #[arg(long, short, value_name = "FILE")]
    pub output: Option<PathBuf>,

    /// Writes its pictures into this folder as well, each as .svg and as .png
    #[arg(long, value_name = "FOLDER")]
    pub pictures: Option<PathBuf>,

    /// Who made it: stands at its head
    #[arg(long, value_name = "TEXT")]
    pub workshop: Option<String>,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub data: DataOptions,

    /// Replaces what is there and was not made by this command
    #[arg(long)]
    pub replace: bool,

    /// Of a job on the simulated machine
    #[arg(long)]
    pub rehearsal: bool,
}

/// What a sheet is written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SheetFormat {
    /// A page for a browser and for paper
    Html,
    /// Markdown
    Md,
    /// Text of 80 columns
    Text,
    /// One object, for scripts
    Json,
    /// The table of its readings, for a spreadsheet
    Csv,
}
