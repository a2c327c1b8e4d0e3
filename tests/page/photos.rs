//! Own cloth from photographs, over the router: the same cloth as the command line's, and what is refused.
//!
//! The photographs are the made-up ones of the photo guide (`tests/photo/examples.rs`): spots by photons, seen by a made-up camera.

use crate::{COLLAR, answered, asked, page, request, runtime, sent};
use axum::body::Body;
use axum::http::StatusCode;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::process::Command;
use weftlight::page::photographs::MOST_PHOTOS;
use weftlight::page::router::MOST_PHOTO_BODY_BYTES;

const PATH: &str = "/api/cloth/photo";

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("fabrics/photos/made-up-felt-{name}.jpg"))
}

/// An example photograph with what the form says of it.
fn photo(name: &str, mut stated: Value) -> Value {
    let bytes = std::fs::read(example(name)).expect("an example photograph");
    stated["name"] = json!(format!("made-up-felt-{name}.jpg"));
    stated["base64"] = json!(STANDARD.encode(bytes));
    stated
}

/// The form, filled in as the photo guide says.
fn form(photos: Value) -> Value {
    json!({
        "title": "Lantern felt", "thickness_mm": 1.05, "photos": photos, "scale_mm": 60, "scale_from": [113, 469, 713, 468],
    })
}

/// The form with one photograph, and what else is to stand in it.
fn one_photo(changes: &[(&str, Value)]) -> Value {
    let mut form = form(json!([photo("4mm", json!({"stand_off_mm": 4}))]));
    changes.iter().for_each(|(key, value)| form[*key] = value.clone());
    form
}

/// The cloth file that the command line prints.
fn by_command_line(photos: &[&str], more: &[&str]) -> String {
    let mut command = Command::new(env!("CARGO_BIN_EXE_weftlight"));
    command.args(["cloth", "calibrate"]).args(photos.iter().map(|name| example(name)));
    command.args(["--thickness-mm", "1.05", "--scale-from", "113,469,713,468", "--scale-mm", "60"]);
    command.args(["--name", "own-lantern-felt", "--title", "Lantern felt"]).args(more);
    let done = command.output().expect("runs");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    String::from_utf8(done.stdout).expect("text")
}

#[test]
fn the_cloth_is_that_of_the_command_line_and_lies_on_the_shelf() {
    let bare = example("bare");
    let bare = bare.to_str().expect("text");
    let more =
        ["--stand-off-mm", "4,10", "--exposure", "1/60,1/20", "--bare", bare, "--bare-exposure", "1/4000"];
    let expected = by_command_line(&["4mm", "10mm"], &more);
    runtime().block_on(async {
        let router = page();
        // The bare pixel may stand anywhere among them.
        let form = form(json!([
            photo("bare", json!({"shows": "bare", "exposure_s": 1.0 / 4000.0})),
            photo("4mm", json!({"stand_off_mm": 4, "exposure_s": 1.0 / 60.0})),
            photo("10mm", json!({"stand_off_mm": 10, "exposure_s": 0.05, "shows": "white"})),
        ]));
        let made = answered(&router, PATH, &form).await;
        assert_eq!(made["name"], "own-lantern-felt");
        assert_eq!(made["text"].as_str().expect("text").trim_end(), expected.trim_end());
        let words = sentences(&made["words"]).join(" ");
        for part in ["Reduced optical thickness in green: ", "Light kept (", "root mean square"] {
            assert!(words.contains(part), "{part}: {words}");
        }
        assert!(
            sentences(&made["remarks"])[0]
                .contains("made-up-felt-4mm.jpg, made-up-felt-10mm.jpg: a JPEG is taken")
        );
        let report = made["report"]
            .as_str()
            .and_then(|url| url.strip_prefix("data:image/png;base64,"))
            .expect("a PNG");
        let report = image::load_from_memory(&STANDARD.decode(report).expect("base64")).expect("a picture");
        // Two photographs with their plots, one below the other.
        assert!(report.height() > report.width(), "{} x {}", report.width(), report.height());
        on_the_shelf(&router).await;
    });
}

/// The cloth stands on the shelf as one from photographs, and goes into a scene that needs no file.
async fn on_the_shelf(router: &axum::Router) {
    let shelf = sent(router, request("GET", "/api/shelf").body(Body::empty()).expect("a request")).await.2;
    let shelf: Value = serde_json::from_slice(&shelf).expect("JSON");
    let own: Vec<&Value> =
        shelf["cloths"].as_array().expect("cloths").iter().filter(|c| c["own"] == true).collect();
    assert_eq!(own.len(), 1);
    assert_eq!((&own[0]["basis"], &own[0]["title"]), (&json!("calibrated"), &json!("Lantern felt")));
    let edits = json!([{"path": ["stack", 0, "cloth"], "set": {"shelf": own[0]["name"]}}]);
    let edited = answered(router, "/api/edit", &json!({"text": COLLAR, "edits": edits})).await;
    let text = edited["text"].as_str().expect("text");
    let scene = weftlight::scene::file::resolve(text, "saved", &weftlight::cloth::catalogue::CatalogueOnly);
    let scene = scene.unwrap_or_else(|faults| panic!("{faults:?}")).scene;
    assert_eq!(scene.stack[0].cloth.title, "Lantern felt");
}

fn sentences(list: &Value) -> Vec<&str> {
    list.as_array().expect("a list").iter().map(|line| line.as_str().expect("text")).collect()
}

#[test]
fn one_photograph_alone_says_what_it_cannot_tell_without_naming_options() {
    let more = ["--stand-off-mm", "4", "--package", "3535", "--board-reflectance", "0.8"];
    let expected = by_command_line(&["4mm"], &more);
    runtime().block_on(async {
        let form = one_photo(&[("package", json!("3535")), ("board_reflectance", json!(0.8))]);
        let made = answered(&page(), PATH, &form).await;
        assert_eq!(made["text"].as_str().expect("text").trim_end(), expected.trim_end());
        let words = sentences(&made["words"]).join(" ");
        assert!(words.contains("Light kept: not known") && words.contains("A further photograph"), "{words}");
        assert!(!words.contains("--"), "{words}");
        // The file is read beside the command line, and says it in its words.
        assert!(
            expected.replace("\n# ", " ").contains("of the bare pixel at a short exposure (--bare)"),
            "{expected}"
        );
    });
}

/// A PNG of which only the header is true: so many pixels, and next to no data.
fn bomb(side: u32) -> Vec<u8> {
    let mut bytes = Vec::new();
    let encoder = png::Encoder::new(&mut bytes, side, side);
    let mut writer = encoder.write_header().expect("a header");
    writer.write_chunk(png::chunk::IDAT, &[0x78, 0x9c, 0x63, 0, 0, 0, 1]).expect("data");
    drop(writer);
    bytes
}

/// A form and the words that must stand in what is said of it.
type Case = (Value, &'static [&'static str]);

fn with_bytes(bytes: &[u8]) -> Value {
    one_photo(&[(
        "photos",
        json!([{"name": "one.jpg", "stand_off_mm": 4, "base64": STANDARD.encode(bytes)}]),
    )])
}

fn refused() -> Vec<Case> {
    let near = |stated: Value| one_photo(&[("photos", json!([photo("4mm", stated)]))]);
    let two = |first: Value, second: Value| form(json!([photo("4mm", first), photo("10mm", second)]));
    let whole = std::fs::read(example("4mm")).expect("an example photograph");
    let many = vec![json!({"name": "a.jpg", "stand_off_mm": 4, "base64": ""}); MOST_PHOTOS + 1];
    vec![
        (
            one_photo(&[("photos", json!([{"name": "a.jpg", "stand_off_mm": 4, "base64": "!!"}]))]),
            &["a.jpg", "no base64", "Choose it again"],
        ),
        (with_bytes(b"stand-off 4 mm"), &["one.jpg", "a JPEG, PNG or TIFF photograph is needed"]),
        (with_bytes(b""), &["one.jpg", "the file is empty"]),
        (with_bytes(&whole[..whole.len() / 2]), &["one.jpg", "copy it from the camera again"]),
        (with_bytes(&bomb(60_000)), &["one.jpg", "60000 x 60000 pixels", "make it smaller"]),
        (one_photo(&[("photos", json!(many))]), &["9 photographs were chosen", "1 to 8"]),
        (one_photo(&[("photos", json!([]))]), &["no photograph was chosen"]),
        (one_photo(&[("photos", json!("all"))]), &["no photograph was chosen"]),
        (near(json!({"shows": "bare"})), &["no photograph shows a lit pixel behind the cloth"]),
        (
            near(json!({"shows": "moon", "stand_off_mm": 4})),
            &["made-up-felt-4mm.jpg", "moon", "white, red, green, blue, bare"],
        ),
        (
            one_photo(&[("scale_from", json!(null))]),
            &["how large things are in the photo is not known", "Mark the two ends"],
        ),
        (one_photo(&[("scale_mm", json!(null))]), &["how large things are in the photo is not known"]),
        (one_photo(&[("scale_from", json!([1, 2, 3]))]), &["the scale", "two places"]),
        (one_photo(&[("scale_mm", json!(0))]), &["the scale", "0 is no known length", "0.5 to 5000 mm"]),
        (
            one_photo(&[("scale_from", json!([10, 10, 15, 10]))]),
            &["made-up-felt-4mm.jpg", "5 pixels apart", "far apart"],
        ),
        (one_photo(&[("scale_from", json!([10, 10, 5000, 10]))]), &["outside the picture of 800 by 600"]),
        (one_photo(&[("thickness_mm", json!("thin"))]), &["the cloth", "the thickness is missing"]),
        (one_photo(&[("package", json!("none"))]), &["the pixel", "this package is not known", "5050"]),
        (one_photo(&[("board_reflectance", json!(2))]), &["the board", "2 is no share"]),
        (near(json!({})), &["made-up-felt-4mm.jpg", "the stand-off is missing", "0 to 500 mm"]),
        (near(json!({"stand_off_mm": -4})), &["made-up-felt-4mm.jpg", "-4 is no stand-off"]),
        (
            two(json!({"stand_off_mm": 4, "exposure_s": 0.1}), json!({"stand_off_mm": 10})),
            &["made-up-felt-10mm.jpg", "its exposure time is missing", "or of none"],
        ),
        (
            near(json!({"stand_off_mm": 4, "exposure_s": 0})),
            &["made-up-felt-4mm.jpg", "0 is no exposure time"],
        ),
        (form(json!([photo("ruler", json!({"stand_off_mm": 4}))])), &["made-up-felt-ruler.jpg", "dark room"]),
    ]
}

#[test]
fn what_cannot_be_used_is_refused_with_advice_and_leaves_the_shelf_as_it_was() {
    runtime().block_on(async {
        let router = page();
        for (form, wanted) in refused() {
            let (status, _, body) = asked(&router, PATH, &form).await;
            let told = String::from_utf8(body).expect("text");
            assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{wanted:?}: {told}");
            for word in wanted {
                assert!(told.contains(word), "{word}: {told}");
            }
            assert!(!told.contains("--"), "options of the command line: {told}");
        }
        // All that is missing in a form is told at once.
        let empty = json!({"photos": [{"name": "a.jpg"}, {"name": "b.jpg"}]});
        let (_, _, body) = asked(&router, PATH, &empty).await;
        let told: Value = serde_json::from_slice(&body).expect("JSON");
        let files: Vec<&str> = told["problems"]
            .as_array()
            .expect("problems")
            .iter()
            .map(|p| p["file"].as_str().expect("text"))
            .collect();
        assert_eq!(files, ["the scale", "the cloth", "a.jpg", "b.jpg"]);
        let shelf =
            sent(&router, request("GET", "/api/shelf").body(Body::empty()).expect("a request")).await.2;
        assert!(!String::from_utf8(shelf).expect("text").contains("\"own\":true"));
    });
}

#[test]
fn faults_are_told_as_the_command_line_tells_them() {
    let folder = tempfile::tempdir().expect("a folder");
    let whole = std::fs::read(example("4mm")).expect("an example photograph");
    let cases = [b"stand-off 4 mm".to_vec(), Vec::new(), whole[..whole.len() / 2].to_vec(), bomb(60_000)];
    runtime().block_on(async {
        for bytes in cases {
            std::fs::write(folder.path().join("one.jpg"), &bytes).expect("written");
            let mut command = Command::new(env!("CARGO_BIN_EXE_weftlight"));
            command.current_dir(folder.path()).args(["cloth", "calibrate", "one.jpg", "--stand-off-mm", "4"]);
            command.args(["--thickness-mm", "1.05", "--scale-from", "113,469,713,468", "--scale-mm", "60"]);
            let said = String::from_utf8(command.output().expect("runs").stderr).expect("text");
            let (_, _, body) = asked(&page(), PATH, &with_bytes(&bytes)).await;
            let told: Value = serde_json::from_slice(&body).expect("JSON");
            let what = told["problems"][0]["what"].as_str().expect("text");
            assert!(said.contains(what), "{what}: {said}");
        }
    });
}

#[test]
fn bodies_are_bounded_and_many_questions_at_once_are_all_answered() {
    runtime().block_on(async {
        let router = page();
        let post = || request("POST", PATH).header("content-type", "application/json");
        // By its length before any of it is read, and by what arrives.
        let told = post()
            .header("content-length", MOST_PHOTO_BODY_BYTES + 1)
            .body(Body::empty())
            .expect("a request");
        assert_eq!(sent(&router, told).await.0, StatusCode::PAYLOAD_TOO_LARGE);
        let long = post().body(Body::from(vec![b' '; MOST_PHOTO_BODY_BYTES + 1])).expect("a request");
        assert_eq!(sent(&router, long).await.0, StatusCode::PAYLOAD_TOO_LARGE);
        let no_json = post().body(Body::from("photographs")).expect("a request");
        assert_eq!(sent(&router, no_json).await.0, StatusCode::BAD_REQUEST);
        let form = with_bytes(&bomb(60_000));
        let all: Vec<_> = (0..50)
            .map(|_| {
                let (router, form) = (router.clone(), form.clone());
                tokio::spawn(async move { asked(&router, PATH, &form).await.0 })
            })
            .collect();
        for one in all {
            assert_eq!(one.await.expect("an answer"), StatusCode::UNPROCESSABLE_ENTITY);
        }
    });
}
