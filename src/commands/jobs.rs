//! `tapewright jobs`: lists, shows, compares, corrects and exports jobs.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use jiff::tz::TimeZone;

use super::cli::{CorrectOptions, ExportOptions, HistoryOptions, JobsAction, JobsOptions};
use super::export::{Export, put};
use super::say::write_words;
use super::{Exit, Failure, Outcome, complain, no_folder};
use crate::records::places::{Kind, Places};
use crate::records::{About, Entry, Job, JobFile, LinesError, jobs};
use crate::report::numbers::plain;
use crate::report::{self, comparison, history, tables};

pub(super) fn run(options: &JobsOptions) -> Outcome {
    match &options.action {
        None | Some(JobsAction::List) => list(options, |_| Some(Vec::new()), "no jobs yet"),
        Some(JobsAction::Find { text }) => {
            let found = |job: &Job| {
                Some(report::jobs::matches(job, text)).filter(|matches| !matches.is_empty())
            };
            list(options, found, &format!("\"{}\" is in no job", plain(text)))
        }
        Some(JobsAction::Show { job }) => show(options, job),
        Some(JobsAction::History(asked)) => machine(options, asked),
        Some(JobsAction::Compare { jobs }) => compare(options, jobs),
        Some(JobsAction::Note { job, text }) => note(options, job, &text.join(" ")),
        Some(JobsAction::Correct(asked)) => correct(options, asked),
        Some(JobsAction::Export(asked)) => export(options, asked),
        Some(JobsAction::Columns) => say(&columns()),
    }
}

fn say(text: &str) -> Outcome {
    write_words(text)?;
    Ok(Exit::Done)
}

/// Where jobs are looked for: what was measured goes before what is simulated.
pub(super) fn kinds(rehearsal: bool) -> &'static [Kind] {
    if rehearsal {
        &[Kind::Rehearsal]
    } else {
        &[Kind::Measured, Kind::Rehearsal]
    }
}

fn open(options: &JobsOptions, named: &str) -> Result<JobFile, Failure> {
    open_named(&options.data.places(), kinds(options.rehearsal), named)
}

/// The job of this name, with what is odd about its file told.
pub(super) fn open_named(places: &Places, kinds: &[Kind], named: &str) -> Result<JobFile, Failure> {
    let path = jobs::find(places, kinds, named)
        .map_err(|error| Failure::new(Exit::Usage, error.to_string()))?;
    opened(path)
}

/// The job in this file, likewise.
pub(super) fn opened(path: PathBuf) -> Result<JobFile, Failure> {
    let (file, warnings) = JobFile::open(path).map_err(|error| unusable(&error))?;
    for warning in warnings {
        complain(&warning.to_string());
    }
    Ok(file)
}

/// The sentence about the file of a job that cannot be used.
pub(super) fn unusable(error: &LinesError) -> Failure {
    Failure::new(Exit::File, error.to_string())
}

/// All jobs of a kind; what is odd about one is told and hides no other.
fn all(options: &JobsOptions) -> Result<(Vec<JobFile>, Exit), Failure> {
    let kind = kinds(options.rehearsal)[0];
    let places = options.data.places();
    places.jobs(kind).ok_or_else(no_folder)?;
    let mut worst = Exit::Done;
    let mut files = Vec::new();
    for (_, opened) in jobs::list(&places, kind) {
        match opened {
            Ok((file, warnings)) => {
                for warning in warnings {
                    complain(&warning.to_string());
                }
                files.push(file);
            }
            Err(error) => {
                complain(&error.to_string());
                worst = Exit::File;
            }
        }
    }
    Ok((files, worst))
}

/// Those of which something is to be said, with that.
fn list(options: &JobsOptions, said: impl Fn(&Job) -> Option<Vec<String>>, none: &str) -> Outcome {
    let (files, worst) = all(options)?;
    let zone = TimeZone::system();
    let mut text = report::jobs::list([], &zone);
    let head = text.len();
    for job in files.iter().map(JobFile::job) {
        if let Some(said) = said(job) {
            text += &report::jobs::row(job, &zone);
            for line in said {
                let _ = writeln!(text, "            {line}");
            }
        }
    }
    if text.len() == head {
        text = nothing(options, none);
    }
    write_words(&text)?;
    Ok(worst)
}

fn nothing(options: &JobsOptions, none: &str) -> String {
    let places = options.data.places();
    let kind = kinds(options.rehearsal)[0];
    let folder = places.jobs(kind).unwrap_or_default();
    let mut text = format!("{none} ({}).\n", folder.display());
    text[..1].make_ascii_uppercase();
    let rehearsed = jobs::list(&places, Kind::Rehearsal).len();
    if kind == Kind::Measured && rehearsed > 0 {
        let _ = writeln!(
            text,
            "Of the simulated machine there are {rehearsed}: tapewright jobs --rehearsal"
        );
    }
    text
}

fn show(options: &JobsOptions, named: &str) -> Outcome {
    let file = open(options, named)?;
    let path = file.path().display().to_string();
    say(&report::jobs::show(file.job(), &path, &TimeZone::system()))
}

fn machine(options: &JobsOptions, asked: &HistoryOptions) -> Outcome {
    let (files, mut worst) = all(options)?;
    let zone = TimeZone::system();
    let record = jobs::of_record(&options.data.places(), kinds(options.rehearsal)[0], &zone);
    let (earlier, warnings) = record.unwrap_or_else(|error| {
        complain(&error.to_string());
        worst = Exit::File;
        Default::default()
    });
    for warning in warnings {
        complain(&warning.to_string());
    }
    let jobs = earlier.iter().chain(files.iter().map(JobFile::job));
    let all = history::of_machine(jobs, &asked.machine);
    if all.is_empty() {
        let none = format!(
            "no before or after of \"{}\" in any job",
            plain(&asked.machine)
        );
        write_words(&nothing(options, &none))?;
        return Ok(worst);
    }
    let texts: Vec<String> = all
        .iter()
        .map(|it| it.text(&asked.machine, &zone))
        .collect();
    let mut text = texts.join("\n");
    if let Some(path) = &asked.picture {
        let pictures = all
            .iter()
            .filter_map(|it| Some((it.picture(&asked.machine, &zone)?, it.is_simulated())));
        for (nth, (picture, simulated)) in pictures.enumerate() {
            let path = numbered(path, nth);
            put(&path, &drawn(&path, &picture, simulated)?, asked.replace)?;
            let _ = write!(text, "\nPicture: {}\n", path.display());
        }
    }
    write_words(&text)?;
    Ok(worst)
}

/// The first keeps its name.
fn numbered(path: &Path, nth: usize) -> PathBuf {
    if nth == 0 {
        return path.to_owned();
    }
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(format!("-{}", nth + 1));
    if let Some(ending) = path.extension() {
        name.push(".");
        name.push(ending);
    }
    path.with_file_name(name)
}

fn drawn(
    path: &Path,
    picture: &report::pictures::Picture,
    simulated: bool,
) -> Result<Vec<u8>, Failure> {
    let is = |ending: &str| {
        path.extension()
            .is_some_and(|it| it.eq_ignore_ascii_case(ending))
    };
    if is("svg") {
        return Ok(picture.svg(simulated).into_bytes());
    }
    if is("png") {
        let png = picture.png(simulated);
        return png.map_err(|error| Failure::new(Exit::File, error.to_string()));
    }
    let path = path.display();
    let sentence =
        format!("{path} is no picture that can be drawn; name a file that ends in .svg or .png");
    Err(Failure::new(Exit::Usage, sentence))
}

fn compare(options: &JobsOptions, named: &[String]) -> Outcome {
    let mut files = Vec::new();
    for name in named {
        files.push(open(options, name)?);
    }
    files.sort_by_key(|file| {
        report::jobs::left_at(file.job())
            .last()
            .map(|it| it.taken_at)
    });
    let [earlier, later] = &files[..] else {
        return Err(Failure::new(
            Exit::Usage,
            "two jobs can be compared, no more and no less",
        ));
    };
    let zone = TimeZone::system();
    let heads = [earlier, later].map(|it| report::jobs::called(it.job(), &zone));
    let [was, is] = [earlier, later].map(|it| report::jobs::left_at(it.job()));
    let of_run =
        |snapshot: &crate::records::Snapshot| was.iter().find(|it| it.run == snapshot.run).copied();
    let both = is.iter().filter_map(|is| Some([of_run(is)?, *is]));
    let texts: Vec<String> = both
        .map(|both| comparison::beside("job", &heads, both, &zone))
        .collect();
    if texts.is_empty() {
        return Err(Failure::new(
            Exit::Usage,
            "nothing of the same speed and direction is kept in both, so there is nothing to compare; tapewright jobs show says what is in a job",
        ));
    }
    say(&texts.join("\n"))
}

/// Adds a line; what was set aside for it is told.
fn add(file: &mut JobFile, entry: Entry) -> Result<(), Failure> {
    if let Some(warning) = file.add(entry).map_err(|error| unusable(&error))? {
        complain(&warning.to_string());
    }
    Ok(())
}

fn is_said(text: &str) -> Result<&str, Failure> {
    if text.trim().is_empty() {
        return Err(Failure::new(
            Exit::Usage,
            "an empty text says nothing; say \"unknown\" where that is so",
        ));
    }
    Ok(text)
}

fn note(options: &JobsOptions, named: &str, text: &str) -> Outcome {
    let text = is_said(text)?.to_owned();
    let mut file = open(options, named)?;
    add(&mut file, Entry::Note(text))?;
    let number = file.job().notes.len();
    say(&format!(
        "Note {number} of \"{}\", in {}\n",
        plain(&file.job().name),
        file.path().display()
    ))
}

fn correct(options: &JobsOptions, asked: &CorrectOptions) -> Outcome {
    let said = [
        (About::Machine, &asked.machine),
        (About::Serial, &asked.serial),
        (About::OwnerNote, &asked.owner_note),
        (About::Supply, &asked.supply),
    ];
    let mut file = open(options, &asked.job)?;
    let mut said: Vec<(String, Option<String>, Entry)> = said
        .into_iter()
        .filter_map(|(about, text)| Some((about, text.clone()?)))
        .map(|(about, is)| {
            let is = is_said(&is)?.to_owned();
            let was = file.job().said(about).map(str::to_owned);
            let entry = Entry::Said {
                about,
                is,
                was: was.clone(),
            };
            Ok((about.name().to_owned(), was, entry))
        })
        .collect::<Result<_, Failure>>()?;
    if let Some([number, text]) = asked.note.as_deref().and_then(|it| it.first_chunk()) {
        let (at, was) = numbered_note(file.job(), number)?;
        let entry = Entry::NoteCorrected {
            number: at,
            is: is_said(text)?.to_owned(),
            was: was.clone(),
        };
        said.push((format!("note {at}"), Some(was), entry));
    }
    if said.is_empty() {
        return Err(Failure::new(
            Exit::Usage,
            "nothing is corrected; say what is, with --machine, --serial, --owner-note, --supply or --note",
        ));
    }
    let mut text = String::new();
    for (what, was, entry) in said {
        let is = match &entry {
            Entry::Said { is, .. } | Entry::NoteCorrected { is, .. } => plain(is),
            _ => continue,
        };
        let _ = match was.map(|it| plain(&it)) {
            Some(was) if was == is => {
                let _ = writeln!(text, "{what}: is \"{is}\" already");
                continue;
            }
            Some(was) => writeln!(text, "{what}: \"{was}\" → \"{is}\""),
            None => writeln!(text, "{what}: \"{is}\""),
        };
        add(&mut file, entry)?;
    }
    let _ = writeln!(
        text,
        "In \"{}\", {}; the old text stays in the file.",
        plain(&file.job().name),
        file.path().display()
    );
    say(&text)
}

fn numbered_note(job: &Job, number: &str) -> Result<(usize, String), Failure> {
    let at = number.parse::<usize>().ok();
    let note = at.and_then(|at| Some((at, job.notes.get(at.checked_sub(1)?)?.text.clone())));
    note.ok_or_else(|| {
        let there_are = match job.notes.len() {
            0 => "the job has none".to_owned(),
            count => format!("the job has 1 to {count}"),
        };
        Failure::new(
            Exit::Usage,
            format!("there is no note {number}; {there_are} (tapewright jobs show lists them)"),
        )
    })
}

fn export(options: &JobsOptions, asked: &ExportOptions) -> Outcome {
    let file = open(options, &asked.job)?;
    let mut tables = tables::of_job(file.job());
    if asked.format == super::cli::TablesFormat::Csv {
        // As JSON each table brings it along.
        tables.push(tables::columns());
    }
    let stem = file.path().file_stem().unwrap_or_default();
    let stem = jobs::file_name(&stem.to_string_lossy());
    let export = Export {
        folder: &asked.into,
        format: asked.format,
        replace: asked.replace,
    };
    let paths = export.write(&stem, &tables)?;
    let mut text = String::new();
    for path in paths {
        let _ = writeln!(text, "{}", path.display());
    }
    say(&text)
}

/// Every table and column, for people.
fn columns() -> String {
    let mut text = String::new();
    for table in tables::of_job(&Job::default()) {
        let _ = writeln!(text, "{}, a row for {}:", table.name, table.row);
        for column in &table.columns {
            let _ = writeln!(text, "  {}", column.name);
            let _ = writeln!(text, "      {}", column.about);
        }
        text.push('\n');
    }
    text + "A figure that cannot be had is empty in CSV and null in JSON.\nEach ± is for 95 %.\n"
}
