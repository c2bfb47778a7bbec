//! Sheets in a real browser and before the reference checker of HTML: nothing
//! overlaps, all lies within the page, words stand out, paper takes one page or
//! two. Only a copy of a page is given a script, which measures it.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::support::environment::are_there;
use crate::support::job_sheets::Bench;
use crate::support::program::Folder;

const BROWSER: &str = "chromium";

/// How the copy of a page is looked at.
#[derive(Clone, Copy, Debug)]
struct View {
    width: u32,
    dark: bool,
    /// With the rules for paper in force.
    paper: bool,
}

const VIEWS: [View; 5] = [
    View {
        width: 360,
        dark: false,
        paper: false,
    },
    View {
        width: 360,
        dark: true,
        paper: false,
    },
    View {
        width: 1280,
        dark: false,
        paper: false,
    },
    View {
        width: 1280,
        dark: true,
        paper: false,
    },
    // A4 within its margins, at 96 to the inch.
    View {
        width: 718,
        dark: false,
        paper: true,
    },
];

/// A folder with a page of each kind of job.
fn pages() -> (Folder, Vec<PathBuf>) {
    let folder = Folder::new();
    Bench::whole(folder.root(), "whole");
    Bench::of_two_speeds(folder.root(), "two");
    Bench::new(folder.root(), "empty", "empty", false);
    Bench::crowded(folder.root(), "crowd-1", 1);
    Bench::crowded(folder.root(), "crowd-2", 2);
    Bench::crowded(folder.root(), "crowd-8", 8);
    Bench::extreme(folder.root(), "extreme");
    let jobs = [
        "whole", "two", "empty", "extreme", "crowd-1", "crowd-2", "crowd-8",
    ];
    let made = jobs.map(|job| {
        let page = folder.path(&format!("{job}.html"));
        let kind = if job.starts_with("crowd") {
            "--rehearsal"
        } else {
            ""
        };
        folder
            .run(&format!("sheet {job} {kind} --data . --output {job}.html"))
            .ends(0);
        page
    });
    (folder, made.to_vec())
}

fn browser(folder: &Folder, page: &Path, more: &[String]) -> String {
    let profile = tempfile::tempdir().expect("room");
    let output = Command::new(BROWSER)
        .args("--headless --no-sandbox --disable-gpu --disable-quic --no-first-run".split(' '))
        .args("--disable-background-networking --disable-component-update".split(' '))
        .args([
            "--disable-sync",
            "--hide-scrollbars",
            "--virtual-time-budget=2000",
        ])
        .arg(format!("--user-data-dir={}", profile.path().display()))
        .args(more)
        .arg(format!("file://{}", page.display()))
        .current_dir(folder.root())
        .output()
        .expect("it is there");
    assert!(output.status.success(), "{output:?}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Measures in a copy of the page; what comes out is JSON.
fn measured(folder: &Folder, page: &Path, view: View) -> Value {
    let mut copy = fs::read_to_string(page).unwrap();
    assert!(!copy.contains("<script"), "{}", page.display());
    if view.paper {
        copy = copy.replace("@media print{", "@media all{");
    }
    let width = format!("<style>html{{width:{}px}}</style></head>", view.width);
    let script = include_str!("../support/measure_page.js");
    let copy = copy.replacen("</head>", &width, 1).replacen(
        "</body>",
        &format!("<script>{script}</script></body>"),
        1,
    );
    let name = page.file_stem().unwrap().to_string_lossy();
    let path = folder.with(&format!("copy-{name}.html"), copy);
    let mut more = vec![
        "--dump-dom".to_owned(),
        format!("--window-size={},2000", view.width.max(500)),
    ];
    if view.dark {
        more.push("--blink-settings=preferredColorScheme=0".to_owned());
    }
    let dom = browser(folder, &path, &more);
    let (_, found) = dom
        .split_once("<pre id=\"measured\">")
        .expect("the script ran");
    let (found, _) = found.split_once("</pre>").expect("its end");
    let found = found
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&amp;", "&");
    serde_json::from_str(&found).expect("JSON")
}

#[test]
fn nothing_overlaps_all_is_within_the_page_and_words_stand_out() {
    if !are_there("looking at sheets", &[BROWSER]) {
        return;
    }
    let (folder, pages) = pages();
    for page in &pages {
        // Colours are the same on all pages.
        let also_dark = page.ends_with("whole.html") || page.ends_with("crowd-2.html");
        for view in VIEWS.into_iter().filter(|it| also_dark || !it.dark) {
            let found = measured(&folder, page, view);
            let place = format!("{} {view:?}", page.display());
            for fault in ["outside", "overlaps", "faint", "runs"] {
                assert_eq!(
                    found[fault].as_array().unwrap().len(),
                    0,
                    "{place} {fault}: {}",
                    found[fault]
                );
            }
            assert_eq!(found["dark"], view.dark, "{place}");
            assert!(found["words"].as_u64() > Some(5), "{place}: {found}");
        }
    }
}

#[test]
fn the_measure_finds_what_it_is_for() {
    if !are_there("looking at sheets", &[BROWSER]) {
        return;
    }
    let folder = Folder::new();
    let bad = "<!DOCTYPE html><html lang=\"en\"><head><title>bad</title></head><body>\
               <p style=\"color:#999;background-color:#fff\">faint</p>\
               <p style=\"width:5000px\">wide</p><p>one</p><p style=\"margin-top:-30px\">other</p>\
               <p onclick=\"x()\">runs</p></body></html>";
    let page = folder.with("bad.html", bad);
    let found = measured(&folder, &page, VIEWS[2]);
    for fault in ["outside", "overlaps", "faint", "runs"] {
        assert_ne!(
            found[fault].as_array().unwrap().len(),
            0,
            "{fault}: {found}"
        );
    }
}

#[test]
fn paper_takes_one_page_or_two() {
    if !are_there("printing sheets", &[BROWSER]) {
        return;
    }
    let (folder, pages) = pages();
    for page in &pages {
        for (paper, points) in [("A4", [594.9, 841.9]), ("letter", [612.0, 792.0])] {
            let copy = fs::read_to_string(page).unwrap();
            let size = format!("<style>@page{{size:{paper}}}</style></head>");
            let copy = folder.with("printed.html", copy.replacen("</head>", &size, 1));
            let printed = folder.path("printed.pdf");
            let more = [
                "--no-pdf-header-footer".to_owned(),
                format!("--print-to-pdf={}", printed.display()),
            ];
            browser(&folder, &copy, &more);
            let pdf = fs::read(&printed).unwrap();
            let pdf = String::from_utf8_lossy(&pdf);
            let count = pdf.matches("/Type /Page\n").count() + pdf.matches("/Type /Page/").count();
            let place = format!("{} {paper}", page.display());
            assert!((1..=2).contains(&count), "{place}: {count} pages");
            let (_, media) = pdf
                .split_once("/MediaBox [0 0 ")
                .expect("a page has a size");
            let media: Vec<f64> = media
                .split([' ', ']'])
                .take(2)
                .map(|it| it.parse().expect("a number"))
                .collect();
            let near = media
                .iter()
                .zip(points)
                .all(|(one, other)| (one - other).abs() < 1.5);
            assert!(near, "{place}: {media:?}");
            fs::remove_file(&printed).unwrap();
        }
    }
}

/// The checker of the HTML standard's own conformance, as `.ci/setup test` puts
/// it into the build folder.
#[test]
fn pages_and_pictures_are_valid() {
    let target = std::env::var("CARGO_TARGET_DIR").unwrap_or_else(|_| "target".to_owned());
    let checker = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join(target)
        .join("vnu/node_modules/vnu-jar/build/dist/vnu.jar");
    let checker = checker.to_string_lossy().into_owned();
    if !are_there("checking HTML", &["java", &checker]) {
        return;
    }
    let (folder, pages) = pages();
    for line in ["whole --pictures .", "crowd-2 --rehearsal --pictures ."] {
        folder.run(&format!("sheet --data . {line}")).ends(0);
    }
    let names = folder.names();
    let is_svg = |it: &&String| Path::new(it.as_str()).extension() == Some("svg".as_ref());
    let pictures = names.iter().filter(is_svg);
    let check = |kind: &[&str], files: Vec<PathBuf>| {
        assert!(files.len() > 5, "{files:?}");
        let output = Command::new("java")
            .args(["-jar", &checker, "--Werror", "--stdout", "--format", "text"])
            .args(kind)
            .args(files)
            .output()
            .expect("it runs");
        let said = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(output.status.success(), "{said}");
    };
    check(&[], pages);
    check(&["--svg"], pictures.map(|it| folder.path(it)).collect());
}
