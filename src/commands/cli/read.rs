//! What `tapewright read` understands.

use std::path::PathBuf;

use clap::Args;

use super::{JobOptions, PartsChoice, ReferenceOptions, TablesFormat, seconds};
use crate::records::Label;
use crate::references::Tolerance;

/// `tapewright read`.
#[derive(Args, Clone, Debug)]
#[allow(clippy::struct_excessive_bools)] // switches of a command line are
pub struct ReadOptions {
    /// Recordings: WAV, FLAC and other usual kinds; or folders, of which all
    /// recordings are measured, those in folders within them too
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,

    /// How many recordings are measured at once [default: one for each core of
    /// the processor]
    #[arg(long, value_name = "NUMBER", value_parser = at_once)]
    pub parallel: Option<usize>,

    /// Go on with a run over several recordings that was interrupted
    ///
    /// The same files and options as then. What was measured is told again and
    /// not measured anew, unless the file has changed since.
    #[arg(long, conflicts_with = "job")]
    pub resume: bool,

    /// One JSON object a file and line instead of tables
    #[arg(long)]
    pub json: bool,

    /// Show what the ± of the speed is made of, line by line
    #[arg(long, conflicts_with = "json")]
    pub budget: bool,

    /// Judge the trimmer's wiper: it was turned through its range and back
    #[arg(long)]
    pub sweep: bool,

    /// Judge a volume control or switch: it was worked while sound played
    #[arg(long)]
    pub contact: bool,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub reference: ReferenceOptions,

    /// When is it right: portable (1 %), deck (0.5 %), professional (0.1 %)
    /// or a half width in percent
    #[arg(long, short, value_name = "BAND", default_value = "deck")]
    pub tolerance: Tolerance,

    /// Name of the machine that was recorded
    ///
    /// A tape that was recorded on this machine (its card, the tape itself or
    /// --recorded-on says so) reads right at any speed: then no speed error is
    /// told.
    #[arg(long, short, value_name = "NAME")]
    pub machine: Option<String>,

    /// That is the name in the job, which may be corrected meanwhile.
    #[arg(skip)]
    pub machine_of_job: bool,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub parts: PartsChoice,

    /// Name of the machine that the tape was recorded on, where neither a card
    /// nor the tape itself says so
    #[arg(long, value_name = "NAME", conflicts_with = "tape")]
    pub recorded_on: Option<String>,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub job: JobOptions,

    /// What is kept in the job is kept as this: before, after, or a name of its
    /// own [default: the name of its file]
    ///
    /// It counts as taken when its file was last written. What is in the job
    /// already, with the same figures and as the same, is not kept again. With
    /// --sweep, what is kept is the check of the wiper.
    #[arg(long, value_name = "LABEL", requires = "job", value_parser = label)]
    pub keep_as: Option<Label>,

    /// Write readings, lines, and speed and flutter against time of each
    /// recording into this folder, as tables: tapewright jobs columns shows what
    /// stands in which column
    #[arg(long, value_name = "FOLDER")]
    pub export: Option<PathBuf>,

    /// How tables are written
    #[arg(long, value_enum, default_value_t, requires = "export")]
    pub export_format: TablesFormat,

    /// Replace tables that are there
    #[arg(long, requires = "export")]
    pub replace: bool,

    /// Start here, in seconds
    #[arg(long, value_name = "S", value_parser = seconds)]
    pub from: Option<f64>,

    /// Stop here, in seconds
    #[arg(long, value_name = "S", value_parser = seconds)]
    pub to: Option<f64>,
}

impl ReadOptions {
    /// A whole recording against a reference, and nothing else.
    pub fn of_reference(reference: ReferenceOptions) -> Self {
        Self {
            files: Vec::new(),
            parallel: None,
            resume: false,
            json: false,
            budget: false,
            sweep: false,
            contact: false,
            reference,
            tolerance: Tolerance::default(),
            machine: None,
            machine_of_job: false,
            parts: PartsChoice::default(),
            recorded_on: None,
            job: JobOptions::default(),
            keep_as: None,
            export: None,
            export_format: TablesFormat::default(),
            replace: false,
            from: None,
            to: None,
        }
    }
}

fn label(text: &str) -> Result<Label, String> {
    match text.trim() {
        "" => Err("must be before, after, or a name".to_owned()),
        "before" => Ok(Label::Before),
        "after" => Ok(Label::After),
        name => Ok(Label::Named(name.to_owned())),
    }
}

fn at_once(text: &str) -> Result<usize, String> {
    match text.parse() {
        Ok(number @ 1..=1024) => Ok(number),
        _ => Err("must be a whole number from 1 to 1024".to_owned()),
    }
}

pub(super) const ABOUT: &str = "\
Measure recordings

Says of each recording of a test tape how fast the machine ran, how it drifted, and how much wow \
and flutter it had, with the ± of each. Reads WAV (8, 16, 24, 32 bit and float, also RF64), FLAC, \
AIFF, MP3, Ogg Vorbis, M4A and CAF, of any length.

Record from a line or headphone output, not with a microphone; a minute for a good ±, at least \
10 s for the flutter figures. Lossy kinds (MP3, Vorbis, AAC) add flutter of their own.

Of a folder all files are measured whose names end as those of recordings do, in the order of their names; hidden ones are left out. Several recordings are measured at once, and told of in their order. A summary at the end has the median and the spread of the figures and names those that stand out.";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright read --reference 3150 side-a.wav
          a table for people; the tape carries 3150 Hz
  tapewright read side-a.wav
          nobody says what it carries: 3150 Hz is taken for the figures, and
          there is no verdict where another usual tone would do as well
  tapewright read --reference tone:3000 *.flac
          a tape that carries 3000 Hz
  tapewright read --reference tone:auto unknown.wav
          the nearest of the usual tones, with a caution where two are near
  tapewright read --reference passage:200 side-a.wav
          a piece known to last 200 s from its first sound to its last, with
          half a second of silence or more before and after it
  tapewright read --reference marks:1 side-a.wav
          clicks or bursts a second apart, such as tapewright tone --marks 1
          writes
  tapewright read --reference recording:album.flac side-a.wav
          a tape of music of which album.flac is a digital copy: where the tape
          is in it and how fast it runs, from the sound alone
  tapewright read --tape-error -0.2±0.1 a.wav
          a tape known to play 0.2 % low, give or take 0.1 %
  tapewright read --tape \"tone tape 3\" a.wav
          a tape with a card (tapewright tape): its own error is taken out
  tapewright read --parts \"portable cassette\" a.wav
          which part turns as often as the speed wavers (tapewright parts)
  tapewright read --from 10 --to 70 long.wav
          one minute of it
  tapewright read --budget side-a.wav
          with what the ± is made of, line by line; JSON always has the parts
  tapewright read --sweep trimmer.wav
          recorded while somebody turned the trimmer slowly through its range
          and back: is the wiper smooth, and does right speed lie well inside?
  tapewright read --contact before.wav after.wav
          recorded with a tone or music playing while somebody worked a volume
          control or switch, before and after cleaning: crackles, breaks, left
          against right
  tapewright read --job \"repair 117\" --machine \"deck 4\" --keep-as before a.wav
          keeps it in a job, as a before that tapewright sheet shows
  tapewright read --export tables recordings
          tables of each for a spreadsheet: readings, speed, flutter, lines
  tapewright read --json side-a.wav side-b.wav
          one JSON object a file and line, for scripts; the summary of several
          stands on standard error
  tapewright read --json archive > archive.jsonl
          all recordings in the folder archive
  tapewright read --json --resume archive > archive.jsonl
          the same after a power cut or Ctrl-C: what was measured is not
          measured again

Deviation is in percent of nominal speed; positive is fast. Each ± is for 95 %.
Times within a stretch chosen by --from count from its beginning. A figure that
cannot be had is a dash in the table and null in JSON, and a caution says why.
One bad file does not stop the others. A sentence on standard error names each
file that could not be measured.

Exit status: 0 all measured, 2 usage, 3 a file could not be read, 4 no usable
reference in a file; with several files the highest that occurred.";
