//! `tapewright settings`: each value, where it came from, and the file's place.

use std::fmt::Write as _;

use super::{Origin, SETTINGS, Setting, Settings};
use crate::commands::cli::SettingsOptions;
use crate::commands::say::write_words;
use crate::commands::{Exit, Outcome};
use crate::records::places::Places;

pub(in crate::commands) fn run(options: &SettingsOptions, settings: &Settings) -> Outcome {
    let text = if options.path {
        format!("{}\n", place(settings))
    } else {
        table(settings)
    };
    write_words(&text)?;
    Ok(Exit::Done)
}

fn place(settings: &Settings) -> String {
    let path = settings.path.as_ref().map(|it| it.display().to_string());
    path.unwrap_or_else(|| "this system names no folder for settings".to_owned())
}

fn table(settings: &Settings) -> String {
    let mut text = String::new();
    for setting in &SETTINGS {
        let (value, from) = value_of(setting, settings);
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{:<10} {value:<32}  {from}", setting.name);
    }
    let there = match &settings.path {
        Some(path) if path.exists() => "",
        _ => " (not there; all the same it is yours to write)",
    };
    let _ = writeln!(text, "\nFile: {}{there}", place(settings));
    for fault in &settings.faults {
        let _ = writeln!(text, "Wrong: {fault}");
    }
    text
}

fn value_of(setting: &Setting, settings: &Settings) -> (String, String) {
    let value = settings.values.iter().find(|it| it.of.name == setting.name);
    if let Some(value) = value {
        let from = match value.from {
            Origin::CommandLine => "command line".to_owned(),
            Origin::Environment => format!("environment, {}", setting.variable()),
            Origin::File(line) => format!("file, line {line}"),
        };
        return (value.text.clone(), from);
    }
    let usual = match setting.name {
        "data" => data_folder(),
        _ => setting.usual.to_owned(),
    };
    (usual, "default".to_owned())
}

fn data_folder() -> String {
    let folder = Places::default().folder();
    folder.map_or_else(
        || "this system names no folder for data".to_owned(),
        |it| it.display().to_string(),
    )
}
