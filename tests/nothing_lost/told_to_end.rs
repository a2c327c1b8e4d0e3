//! Ctrl-C, and being told to end by the system: what is unfinished goes, what was there stays.

use super::{Folder, left_behind};
use std::process::Command;

/// Exit codes as shells have them for programs that these signals end.
const SIGNALS: [(&str, i32); 2] = [("INT", 130), ("TERM", 143)];

#[test]
fn nothing_unfinished_stays() {
    for (signal, code) in SIGNALS {
        for (target, file) in [("film.gif", "film.gif"), ("film/", "film/frame-00000.png")] {
            let folder = Folder::new();
            folder.write(file, b"the former one");
            let mut child = left_behind::begun(&folder, target);
            let sent = Command::new("kill").args(["-s", signal, &child.id().to_string()]).status();
            assert!(sent.expect("sent").success());
            assert_eq!(child.wait().expect("it ends").code(), Some(code), "{signal} {target}");
            assert!(folder.temporaries().is_empty(), "{signal} {target}: {:?}", folder.temporaries());
            assert_eq!(
                std::fs::read(folder.path(file)).expect("there"),
                b"the former one",
                "{signal} {target}"
            );
        }
    }
}

#[test]
#[cfg(target_os = "linux")]
fn a_signal_that_is_ignored_stays_ignored() {
    let folder = Folder::new();
    // As in the background of a shell script.
    let script = "trap '' INT; \"$0\" preview still.yaml -o out.png & work=$!; kill -s INT $work; sleep 0.05; kill -s INT $work; wait $work";
    let mut command = Command::new("sh");
    command.args(["-c", script, env!("CARGO_BIN_EXE_weftlight")]);
    let output = command.current_dir(folder.0.path()).output().expect("runs");
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(folder.path("out.png").exists());
}
