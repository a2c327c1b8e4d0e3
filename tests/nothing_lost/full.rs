//! No room: a full disk, and a limit on the size of files. The command ends with 2 and says which file and why; all former files stay.

use super::writers::{self, Writer};
use super::{Files, Folder, skipped};
use std::os::unix::fs::MetadataExt;
use std::process::{Command, Output, Stdio};

/// Blocks of 512 or 1024 bytes, as the shell has it: room for the former files, and for hardly any new one.
const LIMIT: &str = "ulimit -f 1 || exit 99; trap '' XFSZ; exec \"$0\" \"$@\"";
/// The program's exit code of an error, and those of the two scripts where they cannot do what they are for.
const ERROR: i32 = 2;
const NOT_POSSIBLE: i32 = 99;
/// Bytes that the limit surely does not reach (one block of 512) and surely exceeds (one of 1024).
const SURELY_FITS: usize = 512;
const SURELY_TOO_LARGE: usize = 1024;

fn told(writer: &Writer, output: &Output, why: &str) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(ERROR), "{}: {said}", writer.name());
    assert!(said.contains(why), "{}: {said}", writer.name());
    let mut names = writer.writes.iter().map(|name| if writer.whole_folder { "out" } else { name });
    assert!(names.any(|name| said.contains(name)), "{}: it names the file: {said}", writer.name());
    assert!(!said.contains("panicked"), "{}: {said}", writer.name());
}

#[test]
fn files_may_not_get_so_large() {
    let mut tried = 0;
    for writer in writers::all() {
        let folder = Folder::new();
        let new = writer.done().files;
        if new.values().all(|bytes| bytes.len() <= SURELY_FITS) {
            continue;
        }
        let surely = new.values().any(|bytes| bytes.len() > SURELY_TOO_LARGE);
        assert!(surely, "{}: between the sizes of a block", writer.name());
        folder.reset(&writer.former());
        let mut command = Command::new("sh");
        command.arg("-c").arg(LIMIT).arg(env!("CARGO_BIN_EXE_weftlight")).args(&writer.arguments);
        let output = command.current_dir(folder.0.path()).stdin(Stdio::null()).output().expect("a shell");
        if output.status.code() == Some(NOT_POSSIBLE) {
            return skipped("this shell sets no limit on the size of files");
        }
        told(&writer, &output, "larger than this disk");
        former_stays(&writer, &folder, &new);
        tried += 1;
    }
    assert!(tried > 10, "{tried} commands tried");
}

/// All former files stay and nothing is left behind; of a film with its report the film comes first and stands.
fn former_stays(writer: &Writer, folder: &Folder, new: &Files) {
    let (found, former) = (folder.outputs(), writer.former());
    let with_report = writer.arguments.contains(&"--flash-report");
    for (name, bytes) in &former {
        let kept = found.get(name) == Some(bytes);
        let film = with_report && name == writer.writes[0] && found.get(name) == new.get(name);
        assert!(kept || film, "{}: {name} stays", writer.name());
    }
    assert!(found.keys().all(|name| former.contains_key(name)), "{}: {:?}", writer.name(), found.keys());
    assert!(folder.temporaries().is_empty(), "{}: nothing left behind", writer.name());
}

/// In a name space of its own, where anyone may mount a small disk: fills it but for a few blocks and runs the command on it.
/// What is on it at the end is copied out, since the disk goes with the name space.
const SMALL_DISK: &str = "\
mkdir disk && mount -t tmpfs -o size=512k weftlight-test disk 2>/dev/null || exit 99
cp -r former/. *.yaml disk/ 2>/dev/null
cd disk
cat /dev/zero > fill 2>/dev/null
\"$0\" \"$@\"
code=$?
rm fill
cp -r . \"$AFTER\"
exit $code";

#[test]
fn the_disk_is_full() {
    // Slow ones write in the same way and are tried above.
    let with_photos = |writer: &Writer| writer.arguments.iter().any(|argument| argument.ends_with(".jpg"));
    for writer in writers::all().iter().filter(|writer| !writer.slow && !with_photos(writer)) {
        let folder = Folder::new();
        let new = writer.done().files;
        writer.former().iter().for_each(|(name, bytes)| folder.write(&format!("former/{name}"), bytes));
        std::fs::create_dir_all(folder.path("former")).expect("made");
        let Some((output, after)) = on_a_small_disk(&folder, writer) else {
            return skipped(
                "no small disk can be mounted here (`unshare`, as root or with user name spaces)",
            );
        };
        told(writer, &output, "the disk is full");
        former_stays(writer, &after, &new);
    }
}

/// What the command said, and what was on the disk then.
fn on_a_small_disk(folder: &Folder, writer: &Writer) -> Option<(Output, Folder)> {
    let after = Folder(tempfile::tempdir().expect("a folder"));
    let root = std::fs::metadata("/proc/self").is_ok_and(|facts| facts.uid() == 0);
    let mut command = Command::new("unshare");
    command.args(if root { &["-m"][..] } else { &["-r", "-m"] });
    command.args(["sh", "-c", SMALL_DISK, env!("CARGO_BIN_EXE_weftlight")]).args(&writer.arguments);
    command.current_dir(folder.0.path()).env("AFTER", after.0.path()).stdin(Stdio::null());
    let output = command.output().ok()?;
    // Without a disk the script ends early, and `unshare` itself where it may not do its work.
    (!after.files().is_empty()).then_some((output, after))
}
