//! Completions that a shell really completes by, and manual pages that `man`
//! really shows.

use std::collections::BTreeSet;
use std::env;
use std::ffi::OsStr;
use std::fs;
use std::process::{Command, Output};

use crate::support::program::Folder;

/// A program of another's; `None`, and a word about it, where it is not there
/// and need not be.
fn others(program: &str) -> Option<Command> {
    let path = env::var_os("PATH").unwrap_or_default();
    if env::split_paths(&path).any(|folder| folder.join(program).is_file()) {
        return Some(Command::new(program));
    }
    let required = env::var("TAPEWRIGHT_REQUIRE_LIVE").as_deref() == Ok("1");
    assert!(!required, "{program} is not there");
    eprintln!("SKIPPED: {program} is not there");
    None
}

fn text(output: &Output) -> String {
    let all = [&output.stdout[..], &output.stderr].concat();
    String::from_utf8_lossy(&all).into_owned()
}

/// What bash offers where the last of these words is being typed.
fn offered(folder: &Folder, words: &[&str]) -> Option<BTreeSet<String>> {
    let script = r#"
        source ./completions
        COMP_WORDS=("$@")
        COMP_CWORD=$(($# - 1))
        COMP_LINE="$*"
        COMP_POINT=${#COMP_LINE}
        spec=$(complete -p tapewright)
        spec=${spec##*-F }
        "${spec%% *}" tapewright "${COMP_WORDS[COMP_CWORD]}" "${COMP_WORDS[COMP_CWORD - 1]}"
        printf '%s\n' "${COMPREPLY[@]}"
    "#;
    let mut bash = others("bash")?;
    bash.args(["--norc", "-c", script, "bash", "tapewright"])
        .args(words);
    let offered = bash.current_dir(folder.root()).output().unwrap();
    assert!(offered.status.success(), "{}", text(&offered));
    assert!(offered.stderr.is_empty(), "{}", text(&offered));
    let offered = String::from_utf8(offered.stdout).unwrap();
    Some(offered.lines().map(|it| it.trim_end().to_owned()).collect())
}

#[test]
fn bash_completes_commands_options_and_their_values() {
    let folder = Folder::new();
    folder.with("completions", &folder.run("completions bash").ends(0).text);
    let set = |all: &[&str]| {
        all.iter()
            .map(|it| (*it).to_owned())
            .collect::<BTreeSet<_>>()
    };
    for (words, expected) in [
        (&["re"][..], &["read"][..]),
        (&["pr"], &["practise"]),
        (&["tape", "ce"], &["certify"]),
        (&["read", "--res"], &["--resume"]),
        (&["read", "--par"], &["--parallel", "--parts"]),
        (&["--color", "a"], &["auto", "always"]),
        (&["completions", "e"], &["elvish"]),
        (&["practise", "--fault", "w"], &["worn"]),
    ] {
        let Some(offered) = offered(&folder, words) else {
            return;
        };
        assert_eq!(offered, set(expected), "{words:?}");
    }
}

#[test]
fn other_shells_find_no_fault_in_theirs() {
    let folder = Folder::new();
    for (shell, checks) in [
        ("bash", &["-n"][..]),
        ("zsh", &["-n"]),
        ("fish", &["--no-execute"]),
    ] {
        let script = folder.run(&format!("completions {shell}"));
        assert!(script.ends(0).text.contains("tapewright"), "{shell}");
        folder.with("script", &script.text);
        if let Some(mut program) = others(shell) {
            let checked = program.args(checks).arg(folder.path("script")).output();
            let checked = checked.unwrap();
            assert!(
                checked.status.success() && checked.stderr.is_empty(),
                "{}",
                text(&checked)
            );
        }
    }
    for shell in ["powershell", "elvish"] {
        let script = folder.run(&format!("completions {shell}"));
        assert!(script.ends(0).text.contains("--resume"), "{shell}");
    }
    folder
        .run("completions abacus")
        .ends(2)
        .complains(&["bash"]);
}

#[test]
fn there_is_a_page_for_each_command_and_chapter_and_man_finds_no_fault() {
    let folder = Folder::new();
    folder.run("manpages pages").ends(0);
    // Again: pages of an earlier version are replaced.
    folder.run("manpages pages").ends(0);
    let pages: Vec<_> = fs::read_dir(folder.path("pages"))
        .unwrap()
        .map(|it| it.unwrap().path())
        .collect();
    let names: BTreeSet<_> = pages.iter().filter_map(|it| it.file_name()).collect();
    for page in [
        "tapewright.1",
        "tapewright-read.1",
        "tapewright-tape-certify.1",
        "tapewright-settings.1",
        "tapewright-safety.7",
        "tapewright-settings.7",
    ] {
        assert!(names.contains(OsStr::new(page)), "{page}: {names:?}");
    }
    for page in &pages {
        let whole = fs::read_to_string(page).unwrap();
        assert!(whole.contains(".SH NAME"), "{}", page.display());
        if let Some(mut groff) = others("groff") {
            let checked = groff
                .args(["-man", "-Tutf8", "-Kutf8", "-ww", "-z"])
                .arg(page)
                .output();
            assert_eq!(text(&checked.unwrap()), "", "{}", page.display());
        }
        if let Some(mut mandoc) = others("mandoc") {
            let checked = mandoc.args(["-Tlint", "-Wwarning"]).arg(page).output();
            assert_eq!(text(&checked.unwrap()), "", "{}", page.display());
        }
    }
    if let Some(mut man) = others("man") {
        let page = folder.path("pages/tapewright-read.1");
        let shown = man
            .args(["-P", "cat", "-l"])
            .arg(page)
            .env("LC_ALL", "C.UTF-8")
            .output();
        let shown = text(&shown.unwrap());
        for words in [
            "--resume",
            "EXAMPLES",
            "Exit status",
            "tapewright read --json",
        ] {
            assert!(shown.contains(words), "no {words}: {shown}");
        }
    }
    folder.with("file", "no folder");
    folder
        .run("manpages file")
        .ends(3)
        .complains(&["cannot be written"]);
}
