//! No question reaches a file that was not opened with the page.

use super::questions::{WAYS_OUT, naming};
use super::server::{COLLAR, Server};
use serde_json::{Value, json};
use std::path::Path;
use std::process::Command;

/// What a file beside the scene says, and no answer may.
const CANARY: &str = "canary-in-a-winter-hedge";

/// A folder with a scene and, beside it, files that it does not name.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let put = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).expect("written");
    put("lantern.yaml", COLLAR);
    let cloth = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/fabrics/organza.yaml"))
        .expect("a cloth")
        .replace("title: ", &format!("title: {CANARY} "));
    assert!(cloth.contains(CANARY));
    put("canary.yaml", &cloth);
    put(
        "canary.svg",
        &format!("<svg xmlns='http://www.w3.org/2000/svg'><path id='{CANARY}' d='M0 0H90'/></svg>"),
    );
    put("canary.csv", &format!("x_mm,y_mm\n1,{CANARY}\n"));
    folder
}

/// Every question that can name a file, asked for every way to one.
fn asked_for_files(server: &Server, folder: &Path) -> Vec<String> {
    let own =
        ["canary.yaml", "canary.svg", "canary.csv", "./canary.yaml", "x/../canary.csv"].map(str::to_owned);
    let whole =
        ["canary.yaml", "canary.svg", "canary.csv"].map(|name| folder.join(name).display().to_string());
    let ways = own.into_iter().chain(whole).chain(WAYS_OUT.iter().map(|way| (*way).to_owned()));
    let mut answers = Vec::new();
    let mut ask = |path: &str, question: &Value| {
        let reply = server.ask(path, question);
        assert!(reply.status < 500, "{path}: {}", reply.status);
        answers.push(format!("{}\n{}", reply.head, String::from_utf8_lossy(&reply.body)));
    };
    for way in ways {
        for text in naming(&way) {
            let question = json!({"text": text, "what": "client-page", "width_px": 32, "height_px": 32});
            // Pictures of the one that can be used take seconds, and one shows it as well as all.
            let usable = text.contains("photo:") && way != "canary.yaml";
            for path in &["/api/read", "/api/picture"][..if usable { 1 } else { 2 }] {
                ask(path, &question);
            }
        }
        ask("/api/download", &json!({"text": naming(&way)[0], "what": "client-page"}));
        let edits = json!([{"path": ["stack", 0, "cloth"], "set": way}]);
        ask("/api/edit", &json!({"text": COLLAR, "edits": edits}));
    }
    let label = json!({"title": "../canary.yaml", "fibre": "wool", "areal_mass_g_m2": 500, "thickness_mm": 2, "colour": "#ffffff"});
    ask("/api/cloth/estimate", &label);
    for path in ["/canary.yaml", "/..%2fcanary.yaml", "/api/shelf/canary.png", "/lantern.yaml"] {
        assert_eq!(server.get(path).status, 404, "{path}");
    }
    answers.push(String::from_utf8_lossy(&server.get("/api/shelf").body).into_owned());
    answers
}

#[test]
fn no_answer_tells_what_is_in_a_file_beside_the_scene() {
    let folder = folder();
    let server = Server::over(&folder.path().join("lantern.yaml"));
    for answer in asked_for_files(&server, folder.path()) {
        assert!(!answer.contains(CANARY), "{answer}");
        assert!(!answer.contains("root:x:"), "{answer}");
    }
}

#[test]
fn no_question_opens_a_file() {
    if !Command::new("strace").arg("-V").output().is_ok_and(|call| call.status.success()) {
        println!("SKIPPED: strace is not installed");
        return;
    }
    let folder = folder();
    let trace = folder.path().join("trace");
    let mut command = Command::new("strace");
    command.args(["-D", "-f", "-e", "trace=open,openat,openat2", "-o"]).arg(&trace);
    command.args(["-E", "RAYON_NUM_THREADS=2", env!("CARGO_BIN_EXE_weftlight"), "serve"]);
    command.arg(folder.path().join("lantern.yaml")).args(["--port", "0"]);
    let mut server = Server::started(&mut command);
    // Where calls of several threads cross, one is written as two lines; the path stands in the first.
    let opened = |trace: &Path| {
        let lines = std::fs::read_to_string(trace).expect("a trace");
        lines.lines().filter(|line| !line.contains(" resumed>")).map(str::to_owned).collect::<Vec<_>>()
    };
    let before = opened(&trace).len();
    asked_for_files(&server, folder.path());
    assert!(server.is_alive());
    let all = opened(&trace);
    assert!(all.iter().any(|line| line.contains("lantern.yaml")), "the trace sees files: {all:?}");
    // What the system's own library asks of the system as threads begin.
    let of_the_system =
        |line: &&String| !["\"/proc/", "\"/sys/", "+++", "---"].iter().any(|part| line.contains(part));
    let after: Vec<&String> = all[before..].iter().filter(of_the_system).collect();
    assert!(after.is_empty(), "{after:#?}");
}
