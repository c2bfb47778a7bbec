//! `tapewright sheet`: writes the sheet of a job, and its pictures.

use std::fmt::Write as _;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use jiff::tz::TimeZone;

use super::cli::{SheetFormat, SheetOptions};
use super::export::{exists, put};
use super::jobs::{kinds, open_named, opened};
use super::say::{complain, write_out, write_words};
use super::{Exit, Failure, Outcome, no_folder};
use crate::records::{Job, JobFile, jobs, places};
use crate::report::numbers::is_harmful;
use crate::report::pictures::{self, Picture, PngError};
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
    let mut targets = Vec::new();
    if let Some(to) = &to {
        let bytes = written.text.clone().into_bytes();
        targets.push(Target::new(to.clone(), bytes, |first| {
            !written.begins.is_empty() && first.starts_with(written.begins.as_bytes())
        }));
        said = format!("{}\n", to.display());
    }
    let mut refused = None;
    if let Some(folder) = &options.pictures {
        let pictures = sheet.pictures();
        let (files, error) = files_of(&pictures, folder, &stem, file.job().simulated);
        targets.extend(files);
        refused = error;
        let count = pictures.len();
        // Writing to a string cannot fail.
        let _ = writeln!(said, "{count} pictures in {}", folder.display());
    }
    write_all(&targets, options)?;
    // What was asked for on standard output has it for itself. A terminal may
    // read it; what JSON and HTML mean stays the same.
    if to.is_some() {
        write_words(&said)?;
    } else {
        write_out(&written.text)?;
    }
    Ok(match refused {
        Some(error) => {
            complain(&format!("no .png was written: {error}"));
            Exit::File
        }
        None => Exit::Done,
    })
}

fn no_pictures(folder: &Path, error: &io::Error) -> Failure {
    let place = folder.display();
    let sentence =
        format!("cannot make the folder {place}: {error}; name another one with --pictures");
    Failure::new(Exit::File, sentence)
}

/// The job that was named, or the one worked on last.
fn job(options: &SheetOptions) -> Result<JobFile, Failure> {
    let places = options.data.places();
    let kinds = kinds(options.rehearsal);
    let file = match &options.job {
        Some(called) => open_named(&places, kinds, called)?,
        None => opened(newest(&places, kinds[0])?)?,
    };
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
    let usable = usable.filter_map(|(path, opened)| match opened {
        Ok((file, _)) => Some((path, file)),
        // It may be the one that is meant.
        Err(error) => {
            complain(&error.to_string());
            None
        }
    });
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

/// What is written, and how everything begins that this program wrote so; where
/// that is empty, nothing is replaced.
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
            let folder = options.pictures.as_ref().map(|it| beside(it, to));
            let at = |picture: &Picture| {
                let folder = folder.as_deref().unwrap_or(Path::new("."));
                link(&folder.join(file_name(stem, picture, "svg")))
            };
            let at = folder
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
            // A table that somebody went on with begins as one of ours does.
            (text, String::new())
        }
    };
    Written { text, begins }
}

/// The folder as a sheet at this place leads to it.
fn beside(folder: &Path, sheet: Option<&Path>) -> PathBuf {
    let absolute = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let Some(sheet) = sheet.map(absolute) else {
        return folder.to_owned();
    };
    let folder = absolute(folder);
    let within = sheet.parent().and_then(|it| folder.strip_prefix(it).ok());
    within.map_or(folder.clone(), Path::to_owned)
}

/// A path as the target of a link in Markdown, whatever its name.
fn link(to: &Path) -> String {
    let mut shown = String::from("<");
    for letter in to.to_string_lossy().chars() {
        match letter {
            // What would end it, or be no part of a path.
            '<' | '>' | '\\' | '%' | '&' | '#' | '?' | ':' => {
                // Writing to a string cannot fail.
                let _ = write!(shown, "%{:02x}", u32::from(letter));
            }
            it if is_harmful(it) => shown.push('_'),
            it => shown.push(it),
        }
    }
    shown + ">"
}

/// A file that is to be written.
struct Target {
    path: PathBuf,
    bytes: Vec<u8>,
    replace: bool,
}

impl Target {
    /// Replaces what is there where that `is_ours`, told by its first bytes.
    fn new(path: PathBuf, bytes: Vec<u8>, is_ours: impl FnOnce(&[u8]) -> bool) -> Self {
        let mut first = Vec::new();
        let read = File::open(&path).and_then(|it| it.take(FIRST_BYTES).read_to_end(&mut first));
        let replace = read.is_ok() && is_ours(&first);
        Self {
            path,
            bytes,
            replace,
        }
    }
}

/// Enough to know what this program made by.
const FIRST_BYTES: u64 = 1024;

/// All of them, or none where one is somebody else's.
fn write_all(targets: &[Target], options: &SheetOptions) -> Result<(), Failure> {
    let replace = options.replace;
    let is_in_the_way =
        |it: &&Target| !(replace || it.replace) && it.path.symlink_metadata().is_ok();
    if let Some(target) = targets.iter().find(is_in_the_way) {
        return Err(exists(&target.path));
    }
    if let Some(folder) = &options.pictures {
        fs::create_dir_all(folder).map_err(|error| no_pictures(folder, &error))?;
    }
    for target in targets {
        put(&target.path, &target.bytes, replace || target.replace)?;
    }
    Ok(())
}

fn file_name(stem: &str, picture: &Picture, ending: &str) -> String {
    format!("{stem}-{}.{ending}", picture.name)
}

/// Each as SVG and as PNG; the latter fail where there are no letters for them.
fn files_of(
    pictures: &[Picture],
    folder: &Path,
    stem: &str,
    simulated: bool,
) -> (Vec<Target>, Option<PngError>) {
    let mut targets = Vec::new();
    let mut refused = None;
    for picture in pictures {
        let [svg, png] = ["svg", "png"].map(|it| folder.join(file_name(stem, picture, it)));
        let drawn = picture.svg(simulated).into_bytes();
        let is_svg = |first: &[u8]| first.starts_with(pictures::SVG_BEGINS.as_bytes());
        targets.push(Target::new(svg, drawn, is_svg));
        match picture.png(simulated) {
            Ok(pixels) => targets.push(Target::new(png, pixels, pictures::is_our_png)),
            Err(error) => refused = Some(error),
        }
    }
    (targets, refused)
}
