//! `tapewright sheet`: writes the sheet of a job, and its pictures.

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use jiff::tz::TimeZone;

use super::cli::{SheetFormat, SheetOptions};
use super::export::put;
use super::say::{complain, write_words};
use super::{Exit, Failure, Outcome, no_folder};
use crate::records::{Job, JobFile, LinesError, jobs, places};
use crate::report::pictures::{self, Picture};
use crate::report::sheet::{self, Sheet};
use crate::report::tables;

pub(super) fn run(options: &SheetOptions) -> Outcome {
    let file = job(options)?;
    let path = file.path();
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let zone = TimeZone::system();
    let sheet = Sheet::of(file.job(), &name, options.workshop.as_deref(), &zone);
    let to = match (&options.output, options.format) {
        (Some(named), _) => Some(named.clone()).filter(|it| it.as_os_str() != "-"),
        (None, SheetFormat::Html) => Some(path.with_extension("html")),
        (None, _) => None,
    };
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let written = written(&sheet, options, to.as_deref(), file.job(), &stem);
    let mut said = String::new();
    match &to {
        Some(to) => {
            let replace = options.replace || is_ours(to, &written.begins);
            put(to, written.text.as_bytes(), replace)?;
            said = format!("{}\n", to.display());
        }
        None => to_standard_output(&written.text)?,
    }
    let mut exit = Exit::Done;
    if let Some(folder) = &options.pictures {
        let pictures = sheet.pictures();
        exit = write_pictures(folder, &stem, &pictures, file.job().simulated, options)?;
        let count = pictures.len();
        // Writing to a string cannot fail.
        let _ = writeln!(said, "{count} pictures in {}", folder.display());
    }
    // What was asked for on standard output has it for itself.
    if to.is_some() {
        write_words(&said)?;
    }
    Ok(exit)
}

/// The job that was named, or the one worked on last.
fn job(options: &SheetOptions) -> Result<JobFile, Failure> {
    let kinds: &[places::Kind] = if options.rehearsal {
        &[places::Kind::Rehearsal]
    } else {
        &[places::Kind::Measured, places::Kind::Rehearsal]
    };
    let places = options.data.places();
    let path = match &options.job {
        Some(called) => jobs::find(&places, kinds, called)
            .map_err(|error| Failure::new(Exit::Usage, error.to_string()))?,
        None => newest(&places, kinds[0])?,
    };
    let unusable = |error: LinesError| Failure::new(Exit::File, error.to_string());
    let (file, warnings) = JobFile::open(path).map_err(unusable)?;
    for warning in warnings {
        complain(&warning.to_string());
    }
    if file.job().last_at.is_none() {
        let place = file.path().display();
        let sentence =
            format!("there is no job in {place}; tapewright jobs lists those that there are");
        return Err(Failure::new(Exit::Usage, sentence));
    }
    Ok(file)
}

fn newest(places: &places::Places, kind: places::Kind) -> Result<PathBuf, Failure> {
    let folder = places.jobs(kind).ok_or_else(no_folder)?;
    let usable = jobs::list(places, kind).into_iter();
    let usable = usable.filter_map(|(path, opened)| Some((path, opened.ok()?.0)));
    let newest = usable.max_by_key(|(_, file)| file.job().last_at);
    newest.map(|it| it.0).ok_or_else(|| {
        Failure::new(
            Exit::Usage,
            format!(
                "there is no job in {} yet; tapewright watch keeps one, with its before (b) and after (a)",
                folder.display()
            ),
        )
    })
}

/// What is written, and how everything begins that this program wrote so.
struct Written {
    text: String,
    begins: String,
}

fn written(
    sheet: &Sheet<'_>,
    options: &SheetOptions,
    to: Option<&Path>,
    job: &Job,
    stem: &str,
) -> Written {
    let (text, begins) = match options.format {
        SheetFormat::Html => (sheet::html(sheet), sheet::HTML_BEGINS.to_owned()),
        SheetFormat::Md => {
            let folder = options.pictures.as_ref().map(|it| link_to(it, to));
            let at = |picture: &Picture| {
                let folder = folder.as_deref().unwrap_or_default();
                format!("<{folder}/{}>", file_name(stem, picture, "svg"))
            };
            let at = options
                .pictures
                .is_some()
                .then_some(&at as &dyn Fn(&Picture) -> String);
            (
                sheet::markdown(sheet, at),
                sheet::MARKDOWN_BEGINS.to_owned(),
            )
        }
        SheetFormat::Text => (sheet::text(sheet), sheet::TEXT_BEGINS.to_owned()),
        SheetFormat::Json => {
            let begins = format!("{{\"schema\":\"{}\"", sheet::SCHEMA);
            (sheet::json(sheet), begins)
        }
        SheetFormat::Csv => {
            let tables = tables::of_job(job);
            let readings = tables.iter().find(|it| it.name == "readings");
            let text = readings.map_or(String::new(), tables::Table::csv);
            let begins = text.lines().next().unwrap_or_default().to_owned();
            (text, begins)
        }
    };
    Written { text, begins }
}

/// The folder as a sheet at this place leads to it.
fn link_to(folder: &Path, sheet: Option<&Path>) -> String {
    let absolute = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let link = match sheet.map(absolute).as_deref().and_then(Path::parent) {
        Some(beside) => {
            let folder = absolute(folder);
            folder
                .strip_prefix(beside)
                .map_or(folder.clone(), Path::to_owned)
        }
        None => folder.to_owned(),
    };
    let mut shown = String::new();
    for letter in link.to_string_lossy().chars() {
        match letter {
            '<' | '>' | '\\' | '%' => {
                let _ = write!(shown, "%{:02x}", u32::from(letter));
            }
            it if it.is_control() => shown.push('_'),
            it => shown.push(it),
        }
    }
    if shown.is_empty() {
        ".".to_owned()
    } else {
        shown
    }
}

fn to_standard_output(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Failure::new(
            Exit::File,
            format!("cannot write the sheet: {error}; make room or send it elsewhere"),
        )),
        _ => Ok(()),
    }
}

fn is_ours(path: &Path, begins: &str) -> bool {
    let mut first = Vec::new();
    let read = File::open(path).and_then(|file| {
        let most = begins.len() as u64;
        file.take(most).read_to_end(&mut first)
    });
    read.is_ok() && !begins.is_empty() && first == begins.as_bytes()
}

fn file_name(stem: &str, picture: &Picture, ending: &str) -> String {
    format!("{stem}-{}.{ending}", picture.name)
}

/// Each as SVG and as PNG. Where there are no letters for the latter, that is
/// said once.
fn write_pictures(
    folder: &Path,
    stem: &str,
    pictures: &[Picture],
    simulated: bool,
    options: &SheetOptions,
) -> Outcome {
    fs::create_dir_all(folder).map_err(|error| {
        let place = folder.display();
        Failure::new(
            Exit::File,
            format!("cannot make the folder {place}: {error}; name another one with --pictures"),
        )
    })?;
    let mut refused = None;
    for picture in pictures {
        let [svg, png] = ["svg", "png"].map(|it| folder.join(file_name(stem, picture, it)));
        // What is one of ours as SVG is one as PNG.
        let replace = options.replace || is_ours(&svg, pictures::SVG_BEGINS);
        put(&svg, picture.svg(simulated).as_bytes(), replace)?;
        match picture.png(simulated) {
            Ok(pixels) => put(&png, &pixels, replace)?,
            Err(error) => refused = Some(error),
        }
    }
    match refused {
        Some(error) => {
            complain(&format!("no .png was written: {error}"));
            Ok(Exit::File)
        }
        None => Ok(Exit::Done),
    }
}
