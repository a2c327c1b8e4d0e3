//! Requests: questions to the page's router without a socket, and bytes to the server as a process.

use super::harness::{Fuzzed, Random, Reached, run, seeds, text_seeds};
use super::mutate::{self, flipped, one_of, percent};
use super::pieces::YAML;
use super::scene::{DRAWING, LIST, SHIPPED};
use super::server::Server;
use axum::body::Body;
use axum::http::Request;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use rand::RngExt;
use serde_json::{Value, json};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tower::ServiceExt;
use weftlight::page::asked::Opened;
use weftlight::page::router::{Page, router};

const PORT: u16 = 4321;
/// Share that goes to the process, byte by byte; each takes a connection.
const RAW_PERCENT: u32 = 10;
/// What the process may hold at the end, in KiB: what it kept of pictures and cloths, and what its allocator keeps.
const MOST_RESIDENT_KIB: u64 = 1 << 20;

/// Questions, those that are quick several times.
const ASKED: [&str; 22] = [
    "/api/read",
    "/api/read",
    "/api/read",
    "/api/edit",
    "/api/edit",
    "/api/edit",
    "/api/edit",
    "/api/bring",
    "/api/bring",
    "/api/bring",
    "/api/starter",
    "/api/starter",
    "/api/starter",
    "/api/cloth/estimate",
    "/api/cloth/estimate",
    "/api/cloth/photo",
    "/api/picture",
    "/api/picture",
    "/api/numbers",
    "/api/gap-chart",
    "/api/motion",
    "/api/download",
];
const GOT: [&str; 12] = [
    "/",
    "/main.js",
    "/api/start",
    "/api/shelf",
    "/api/shelf/organza.png",
    "/api/shelf/own.png",
    "/api/nothing",
    "/..%2f..%2fCargo.toml",
    "/%00",
    "/%ff%fe",
    "//",
    "/api/shelf/%F0%9F%A7%B5.png",
];
const HEADERS: [&str; 10] = [
    "host: elsewhere:4321",
    "origin: http://127.0.0.1:4321",
    "origin: null",
    "content-type: text/plain",
    "content-length: 5",
    "content-encoding: gzip",
    "expect: 100-continue",
    "x-long: aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa",
    "range: bytes=0-1",
    "transfer-encoding: chunked",
];

struct Requests {
    seeds: Vec<Vec<u8>>,
    scenes: Vec<String>,
    pictures: Vec<Vec<u8>>,
    router: axum::Router,
    runtime: tokio::runtime::Runtime,
    server: Mutex<Server>,
}

impl Requests {
    fn new() -> Requests {
        let mut scenes = text_seeds("scene");
        scenes.extend(SHIPPED.map(str::to_owned));
        Requests {
            seeds: seeds("request").into_iter().map(|(_, bytes)| bytes).collect(),
            scenes,
            pictures: seeds("photo").into_iter().map(|(_, bytes)| bytes).collect(),
            router: router(Arc::new(Page::new(Opened::default())), PORT),
            runtime: tokio::runtime::Builder::new_multi_thread()
                .worker_threads(2)
                .enable_all()
                .build()
                .expect("threads"),
            server: Mutex::new(Server::start()),
        }
    }

    /// The body of a question, mostly one that can be answered.
    fn question(&self, random: &mut Random, path: &str) -> Value {
        let scene = if percent(random, 50) {
            self.scenes[random.random_range(0..self.scenes.len())].clone()
        } else {
            mutate::text(random, &self.scenes, &YAML)
        };
        let number = |random: &mut Random| -> Value {
            let odd = [
                json!(null),
                json!("3"),
                json!(-1),
                json!(1e308),
                json!(-0.0),
                json!([]),
                json!(0),
                json!(true),
                json!(u64::MAX),
            ];
            if percent(random, 15) {
                odd[random.random_range(0..odd.len())].clone()
            } else {
                json!(random.random_range(0.0..80.0))
            }
        };
        let tab = one_of(random, &["a", "b", "", "\u{e9}"]).to_owned();
        let (width, height) = (random.random_range(16..96), random.random_range(16..96));
        match path {
            "/api/edit" => {
                let edits: Vec<Value> = (0..random.random_range(0..4)).map(|_| edit(random)).collect();
                json!({"text": scene, "edits": edits, "files": tab})
            }
            "/api/bring" => {
                let name = one_of(
                    random,
                    &[
                        "a.svg",
                        "a.csv",
                        "own.yaml",
                        "a.png",
                        "coat-photo.jpg",
                        "../x.svg",
                        "/etc/x.svg",
                        "",
                        "a\u{0}b",
                    ],
                );
                let picture = &self.pictures[random.random_range(0..self.pictures.len())];
                match random.random_range(0..3) {
                    0 => json!({"files": tab, "path": name, "text": DRAWING}),
                    1 => json!({"files": tab, "path": name, "text": LIST}),
                    _ => json!({"files": tab, "path": name, "base64": STANDARD.encode(picture)}),
                }
            }
            "/api/starter" => json!({
                "form": one_of(random, &["strip", "ring", "grid", "blob"]), "package": one_of(random, &["2020", "5050", "9"]),
                "cloth": one_of(random, &["fleece", "organza", "nothing"]), "pitch_mm": number(random), "width_mm": number(random),
                "height_mm": number(random), "gap_mm": number(random), "distance_m": number(random), "room_lx": number(random),
            }),
            "/api/cloth/estimate" => json!({
                "title": one_of(random, &["Felt", "", "\u{1f9f5}", "a: b\n# c", "\"\\"]), "fibre": one_of(random, &["wool", "cotton", "glass", ""]),
                "colour": one_of(random, &["#ff8800", "#000000", "red", ""]), "structure": one_of(random, &["felt", "knit", "sheer", "x"]),
                "areal_mass_g_m2": number(random), "thickness_mm": number(random), "cover": number(random), "fibre_diameter_um": number(random),
            }),
            "/api/cloth/photo" => {
                let photos: Vec<Value> = (0..random.random_range(0..4))
                    .map(|i| {
                        let mut picture = self.pictures[random.random_range(0..self.pictures.len())].clone();
                        if percent(random, 40) {
                            flipped(random, &mut picture);
                        }
                        let shows = one_of(random, &["white", "bare", "red", "x"]);
                        json!({"name": format!("{i}.jpg"), "base64": STANDARD.encode(picture), "shows": shows,
                               "stand_off_mm": number(random), "exposure_s": number(random)})
                    })
                    .collect();
                let corners = [(); 4].map(|()| number(random));
                json!({"title": "own", "thickness_mm": number(random), "photos": photos, "scale_mm": number(random), "scale_from": corners})
            }
            _ => json!({
                "text": scene, "width_px": if percent(random, 8) { number(random) } else { json!(width) },
                "height_px": if percent(random, 8) { number(random) } else { json!(height) }, "exposure_ev": number(random),
                "page": tab, "files": tab, "seq": random.random_range(0..1_000_000), "detail": percent(random, 50),
                "what": one_of(random, &["preview", "make", "file", "on-photo", "x"]), "path": one_of(random, &["a.svg", "a.png", "\u{e9}\""]),
            }),
        }
    }
}

fn edit(random: &mut Random) -> Value {
    let paths = [
        json!(["light", "level"]),
        json!(["pixels", 0]),
        json!(["pixels"]),
        json!(["stack", 0, "gap_mm"]),
        json!([]),
        json!(["view", "size_px", 1]),
        json!(["stack"]),
        json!(["a: b", "#c"]),
        json!([0]),
        json!(["stack", 99]),
        json!(["pixels", 0, "strip", "count"]),
        json!("x"),
    ];
    let values = [
        json!(0.5),
        json!(null),
        json!("text: #"),
        json!({"a": [1, {"b": 2}]}),
        json!(1e308),
        json!({"shelf": "own"}),
        json!([]),
        json!(-0.0),
    ];
    let path = paths[random.random_range(0..paths.len())].clone();
    let value = values[random.random_range(0..values.len())].clone();
    match random.random_range(0..5) {
        0 => json!({"path": path, "remove": true}),
        1 => json!({"path": path, "insert": random.random_range(0..4), "value": value}),
        2 => {
            json!({"path": path, "move": {"from": random.random_range(0..4), "to": random.random_range(0..4)}})
        }
        _ => json!({"path": path, "set": value}),
    }
}

/// Head and body as they go over the wire.
fn wire(method: &str, path: &str, more: &[&str], body: &[u8]) -> Vec<u8> {
    let mut head = format!("{method} {path} HTTP/1.1\r\n");
    if !more.iter().any(|line| line.starts_with("host")) {
        head.push_str("host: 127.0.0.1:PORT\r\n");
    }
    if !more.iter().any(|line| line.starts_with("content-type")) {
        head.push_str("content-type: application/json\r\n");
    }
    if !more.iter().any(|line| line.starts_with("content-length") || line.starts_with("transfer-encoding")) {
        head.push_str(&format!("content-length: {}\r\n", body.len()));
    }
    more.iter().for_each(|line| head.push_str(&format!("{line}\r\n")));
    [head.as_bytes(), b"connection: close\r\n\r\n", body].concat()
}

impl Fuzzed for Requests {
    const NAME: &'static str = "request";
    const INPUTS: u64 = 60;
    // A fit of photographs of cloth 40 mm thick takes 80 s on an idle machine.
    const LONGEST: Duration = Duration::from_secs(400);
    // Pictures of up to 2400 pixels a side with their grids.
    const MOST_BYTES: usize = 1 << 30;

    fn input(&self, random: &mut Random) -> Vec<u8> {
        if percent(random, 15) {
            let mut bytes = self.seeds[random.random_range(0..self.seeds.len())].clone();
            flipped(random, &mut bytes);
            return bytes;
        }
        let more: Vec<&str> = if percent(random, 10) { vec![one_of(random, &HEADERS)] } else { Vec::new() };
        if percent(random, 8) {
            return wire(
                one_of(random, &["GET", "HEAD", "PUT", "OPTIONS"]),
                one_of(random, &GOT),
                &more,
                b"",
            );
        }
        let path = match one_of(random, &ASKED) {
            // Curves take a dozen seconds each.
            "/api/gap-chart" if percent(random, 80) => "/api/numbers",
            path => path,
        };
        let mut body = self.question(random, path).to_string().into_bytes();
        match random.random_range(0..20) {
            0 => flipped(random, &mut body),
            1 => body.truncate(random.random_range(0..=body.len())),
            2 => body = [vec![b'['; random.random_range(1..3000)], body].concat(),
            _ => {}
        }
        wire("POST", path, &more, &body)
    }

    fn hold(&self, input: &[u8], random: &mut Random) -> Reached {
        if percent(random, RAW_PERCENT) {
            return self.by_wire(input);
        }
        let Some(request) = request(input) else { return Reached::Form };
        let bodiless = request.method() == "HEAD";
        let (status, kind, body) = self.runtime.block_on(async {
            let answer = self.router.clone().oneshot(request).await.expect("an answer");
            let kind = answer
                .headers()
                .get("content-type")
                .and_then(|kind| kind.to_str().ok())
                .unwrap_or("")
                .to_owned();
            let status = answer.status().as_u16();
            let body = axum::body::to_bytes(answer.into_body(), usize::MAX).await.expect("whole");
            (status, kind, body)
        });
        answered(status, &kind, if bodiless { b"null" } else { &body })
    }
}

/// What must hold for every answer.
fn answered(status: u16, kind: &str, body: &[u8]) -> Reached {
    let shown = || String::from_utf8_lossy(&body[..body.len().min(500)]).into_owned();
    assert!(
        matches!(status, 200 | 400 | 403 | 404 | 405 | 408 | 409 | 411 | 413 | 415 | 422),
        "{status}: {}",
        shown()
    );
    assert!(!kind.is_empty() && !body.is_empty(), "{status} `{kind}` without words");
    if kind == "application/json" && body != b"null" {
        let value: Value = serde_json::from_slice(body).unwrap_or_else(|e| panic!("{e}: {}", shown()));
        if !matches!(status, 200 | 409) {
            let problems = value["problems"]
                .as_array()
                .unwrap_or_else(|| panic!("{status} without problems: {}", shown()));
            assert!(!problems.is_empty(), "{status} without problems");
            for problem in problems {
                assert!(problem["what"].as_str().is_some_and(|what| !what.trim().is_empty()), "{problem}");
            }
        }
    }
    match status {
        200 | 409 => Reached::Use,
        422 => Reached::Meaning,
        _ => Reached::Form,
    }
}

/// The request of these bytes, where they can be told apart at all.
fn request(bytes: &[u8]) -> Option<Request<Body>> {
    let end = bytes.windows(4).position(|four| four == b"\r\n\r\n")?;
    let head = std::str::from_utf8(&bytes[..end]).ok()?.replace("PORT", &PORT.to_string());
    let mut lines = head.split("\r\n");
    let mut first = lines.next()?.split(' ');
    let mut request = Request::builder().method(first.next()?).uri(first.next()?);
    for line in lines {
        let (name, value) = line.split_once(':')?;
        request = request.header(name.trim(), value.trim());
    }
    request.body(Body::from(bytes[end + 4..].to_vec())).ok()
}

impl Requests {
    /// Any bytes are answered or the connection closed, and the server goes on.
    fn by_wire(&self, input: &[u8]) -> Reached {
        let mut server = self.server.lock().unwrap_or_else(PoisonError::into_inner);
        let port = server.port.to_string();
        let at = input.windows(4).position(|four| four == b"PORT");
        let bytes = match at {
            Some(at) => [&input[..at], port.as_bytes(), &input[at + 4..]].concat(),
            None => input.to_vec(),
        };
        let reply = server.sent_and_closed(&bytes);
        assert!(server.is_alive(), "the server has ended: {}", server.told());
        assert_eq!(server.get("/api/start").status, 200);
        assert_eq!(server.told(), "", "the server complains");
        if let Some(resident) = server.figure("VmRSS") {
            assert!(resident < MOST_RESIDENT_KIB, "the server holds {resident} KiB");
        }
        match reply {
            Some(reply) => {
                let kind = reply
                    .head
                    .lines()
                    .find_map(|line| line.strip_prefix("content-type:"))
                    .unwrap_or("")
                    .trim();
                // What comes after it is that to the body, which was sent without waiting.
                if reply.status == 100 {
                    return Reached::Meaning;
                }
                // The listener itself refuses what is no HTTP, without words.
                if kind.is_empty() && reply.body.is_empty() {
                    assert!(
                        matches!(reply.status, 400 | 408 | 411 | 413 | 414 | 431 | 501 | 505),
                        "{}",
                        reply.status
                    );
                    return Reached::Form;
                }
                let head_only = input.starts_with(b"HEAD");
                if head_only { Reached::Use } else { answered(reply.status, kind, &reply.body) }
            }
            None => Reached::Form,
        }
    }
}

#[test]
fn requests_are_answered_or_refused_with_words() {
    run(&Requests::new());
}
