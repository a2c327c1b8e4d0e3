//! What killed runs leave behind: the next run that writes into the same folder clears it away, and nothing else.

use super::Folder;
use std::fs::File;
use std::path::Path;
use std::time::{Duration, SystemTime};

const WRITE: [&str; 4] = ["check", "still.yaml", "--pixels", "out.csv"];
/// A film that takes many seconds: it is killed while it is being written.
const LONG_FILM: [&str; 8] =
    ["motion", "ember.yaml", "--seconds", "60", "--frames-per-s", "50", "--size-px", "480,240"];
/// More than the ten minutes after which what nobody holds was left behind.
const LONG_AGO: Duration = Duration::from_secs(11 * 60);
/// No run takes so long to begin.
const PATIENCE: Duration = Duration::from_secs(30);

pub(crate) fn begun(folder: &Folder, target: &str) -> std::process::Child {
    let call: Vec<&str> = LONG_FILM.iter().copied().chain(["-o", target]).collect();
    let mut child = folder.start(&call);
    let until = std::time::Instant::now() + PATIENCE;
    // The first bytes of the film: by then the trial of the place is over.
    let some = |path: &Path| {
        let file = path.metadata().is_ok_and(|facts| facts.is_file() && facts.len() > 0);
        file || path.join("new/frame-00000.png").exists()
    };
    while !folder.temporaries().iter().any(|path| some(path)) {
        assert!(child.try_wait().expect("ours").is_none(), "the film takes long");
        assert!(std::time::Instant::now() < until, "the film begins");
        std::thread::sleep(Duration::from_millis(5));
    }
    child
}

fn make_old(path: &Path) {
    let at = SystemTime::now() - LONG_AGO;
    File::open(path).and_then(|file| file.set_modified(at)).expect("set");
}

#[test]
fn of_a_killed_run() {
    for target in ["film.gif", "film/"] {
        let folder = Folder::new();
        let mut child = begun(&folder, target);
        let part = folder.temporaries().remove(0);
        let touched = if part.is_dir() { part.join("new") } else { part.clone() };

        // It is alive, however old its file looks.
        make_old(&touched);
        folder.fine(&WRITE);
        assert!(part.exists(), "{target}: a living run's is left alone");

        child.kill().expect("ours");
        child.wait().expect("it ends");
        File::open(&touched).and_then(|file| file.set_modified(SystemTime::now())).expect("set");
        folder.fine(&WRITE);
        assert!(part.exists(), "{target}: it may belong to a run on another machine");

        make_old(&touched);
        folder.fine(&WRITE);
        assert!(!part.exists(), "{target}: nobody's");
    }
}

#[test]
fn a_folder_moved_aside_is_put_back() {
    let folder = Folder::new();
    // As a run leaves it that is killed between moving the former folder aside and putting the new one in its place.
    let part = ".weftlight-a1B2c3.part";
    folder.write(&format!("{part}/held"), b"");
    folder.write(&format!("{part}/former/film/frame-00000.png"), b"the former one");
    folder.write(&format!("{part}/new/frame-00000.png"), b"the new one");
    folder.fine(&WRITE);
    assert_eq!(std::fs::read(folder.path("film/frame-00000.png")).expect("there"), b"the former one");
    make_old(&folder.path(part).join("new"));
    folder.fine(&WRITE);
    assert!(folder.temporaries().is_empty());
    assert_eq!(std::fs::read(folder.path("film/frame-00000.png")).expect("there"), b"the former one");
}

#[test]
fn only_the_programs_own() {
    let folder = Folder::new();
    let others =
        [".weftlight-notes.part", ".weftlight-a1B2c3.txt", "weftlight-a1B2c3.part", ".weftlight-a1-2c3.part"];
    for name in others {
        folder.write(name, b"somebody's");
        make_old(&folder.path(name));
    }
    folder.write("far/away.txt", b"somebody's");
    std::os::unix::fs::symlink(folder.path("far"), folder.path(".weftlight-abcdef.part")).expect("linked");
    folder.fine(&WRITE);
    for name in others.iter().copied().chain(["far/away.txt"]) {
        assert_eq!(std::fs::read(folder.path(name)).expect("there"), b"somebody's", "{name}");
    }
}
