//! The page over HTTP, for this machine alone.
//!
//! **Who may ask**: requests whose `Host` is the loopback address and port at which the page is served and whose `Origin`, where there is one,
//! is the page itself; so no site in another tab can ask, not even by a name that it points at this machine. Bodies are bounded.
//! **Work** runs beside the threads that talk to the browser; pictures wait for one another, and so do numbers and charts, so that what has become stale
//! meanwhile is answered without work ([`super::turns`]).

use super::asked::{Answer, Opened};
use super::shelf::{self, Shelf};
use super::turns::{Turn, Turns};
use super::{look, photographs, starter, takeaway};
use crate::pixels::package::Package;
use axum::Router;
use axum::body::{Body, Bytes, to_bytes};
use axum::extract::{DefaultBodyLimit, Path, Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::Response;
use axum::routing::{get, post};
use serde_json::{Value, json};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::Semaphore;
use tokio::time::timeout;

/// Bodies of ordinary questions, in bytes: a scene of the greatest size, as JSON.
pub const MOST_BODY_BYTES: usize = 4 << 20;
/// Bodies that carry photographs, in bytes.
pub const MOST_PHOTO_BODY_BYTES: usize = 120 << 20;
/// A body of photographs must have arrived after so long: the next one waits for it.
const PHOTO_BODY_WITHIN: Duration = Duration::from_secs(60);
/// What the page may load, and from where: itself alone.
const POLICY: &str = "default-src 'self'; img-src 'self' blob: data:; style-src 'self'; script-src 'self'; connect-src 'self'; \
                      object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// The demo scenes.
const DEMOS: [(&str, &str); 4] = [
    ("collar", include_str!("../../scenes/collar.yaml")),
    ("badge", include_str!("../../scenes/badge.yaml")),
    ("panel", include_str!("../../scenes/panel.yaml")),
    ("hem", include_str!("../../scenes/hem.yaml")),
];

/// The files of the page itself.
const ASSETS: &[(&str, &str, &str)] = &[
    ("api.js", "text/javascript; charset=utf-8", include_str!("assets/api.js")),
    ("dialogs.css", "text/css; charset=utf-8", include_str!("assets/dialogs.css")),
    ("dom.js", "text/javascript; charset=utf-8", include_str!("assets/dom.js")),
    ("exposure.js", "text/javascript; charset=utf-8", include_str!("assets/exposure.js")),
    ("fields.js", "text/javascript; charset=utf-8", include_str!("assets/fields.js")),
    ("files.js", "text/javascript; charset=utf-8", include_str!("assets/files.js")),
    ("gapchart.js", "text/javascript; charset=utf-8", include_str!("assets/gapchart.js")),
    ("hold.js", "text/javascript; charset=utf-8", include_str!("assets/hold.js")),
    ("index.html", "text/html; charset=utf-8", include_str!("assets/index.html")),
    ("live.js", "text/javascript; charset=utf-8", include_str!("assets/live.js")),
    ("main.js", "text/javascript; charset=utf-8", include_str!("assets/main.js")),
    ("motion.js", "text/javascript; charset=utf-8", include_str!("assets/motion.js")),
    ("numbers.js", "text/javascript; charset=utf-8", include_str!("assets/numbers.js")),
    ("owncloth.js", "text/javascript; charset=utf-8", include_str!("assets/owncloth.js")),
    ("parts.css", "text/css; charset=utf-8", include_str!("assets/parts.css")),
    ("photoform.js", "text/javascript; charset=utf-8", include_str!("assets/photoform.js")),
    ("picture.js", "text/javascript; charset=utf-8", include_str!("assets/picture.js")),
    ("scene.js", "text/javascript; charset=utf-8", include_str!("assets/scene.js")),
    ("scenepanel.js", "text/javascript; charset=utf-8", include_str!("assets/scenepanel.js")),
    ("shelf.js", "text/javascript; charset=utf-8", include_str!("assets/shelf.js")),
    ("side.js", "text/javascript; charset=utf-8", include_str!("assets/side.js")),
    ("start.js", "text/javascript; charset=utf-8", include_str!("assets/start.js")),
    ("style.css", "text/css; charset=utf-8", include_str!("assets/style.css")),
    ("textview.js", "text/javascript; charset=utf-8", include_str!("assets/textview.js")),
    ("words.js", "text/javascript; charset=utf-8", include_str!("assets/words.js")),
];

/// What is behind the page.
#[derive(Debug)]
pub struct Page {
    /// What was opened with it.
    pub opened: Opened,
    /// The cloths.
    pub shelf: Shelf,
    turns: Arc<Turns>,
    pictures: Semaphore,
    numbers: Semaphore,
    charts: Semaphore,
    heavy: Semaphore,
    photographs: Arc<Semaphore>,
}

impl Page {
    /// A page over what was opened.
    #[must_use]
    pub fn new(opened: Opened) -> Page {
        Page {
            opened,
            shelf: Shelf::default(),
            turns: Arc::new(Turns::default()),
            pictures: Semaphore::new(1),
            numbers: Semaphore::new(1),
            charts: Semaphore::new(1),
            heavy: Semaphore::new(1),
            photographs: Arc::new(Semaphore::new(1)),
        }
    }
}

/// The page's router. `port` is the one at which it is served: other `Host`s are turned away.
pub fn router(page: Arc<Page>, port: u16) -> Router {
    Router::new()
        .route("/", get(|| async { asset("index.html") }))
        .route("/{name}", get(|Path(name): Path<String>| async move { asset(&name) }))
        .route("/api/start", get(start))
        .route("/api/shelf", get(shelf_list))
        .route("/api/shelf/{name}", get(swatch))
        .route("/api/cloth/photo", post(photo))
        .route("/api/cloth/estimate", post(|page, body| ask(page, body, Asked::Estimate)))
        .route("/api/starter", post(|page, body| ask(page, body, Asked::Starter)))
        .route("/api/read", post(|page, body| ask(page, body, Asked::Read)))
        .route("/api/edit", post(|page, body| ask(page, body, Asked::Edit)))
        .route("/api/picture", post(|page, body| ask(page, body, Asked::Picture)))
        .route("/api/numbers", post(|page, body| ask(page, body, Asked::Numbers)))
        .route("/api/gap-chart", post(|page, body| ask(page, body, Asked::GapChart)))
        .route("/api/motion", post(|page, body| ask(page, body, Asked::Motion)))
        .route("/api/download", post(|page, body| ask(page, body, Asked::Download)))
        .fallback(|| async { response(not_found()) })
        .method_not_allowed_fallback(|| async { response(status(405, "this is not asked that way")) })
        .layer(DefaultBodyLimit::max(MOST_BODY_BYTES))
        .layer(middleware::from_fn(move |request, next| guarded(request, next, port)))
        .with_state(page)
}

/// What may be asked in the body of a request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Asked {
    Read,
    Edit,
    Starter,
    Picture,
    Numbers,
    GapChart,
    Estimate,
    Motion,
    Download,
}

impl Asked {
    /// The kind under which its turns are counted; `None` for what is always answered.
    fn turn_kind(self) -> Option<&'static str> {
        match self {
            Asked::Picture => Some("picture"),
            Asked::Numbers => Some("numbers"),
            Asked::GapChart => Some("gap-chart"),
            Asked::Motion => Some("motion"),
            _ => None,
        }
    }

    fn queue(self, page: &Page) -> Option<&Semaphore> {
        match self {
            Asked::Picture => Some(&page.pictures),
            Asked::Numbers => Some(&page.numbers),
            Asked::GapChart => Some(&page.charts),
            Asked::Motion | Asked::Download => Some(&page.heavy),
            _ => None,
        }
    }

    fn answer(self, question: &Value, page: &Page, turn: &Turn) -> Answer {
        let opened = &page.opened;
        match self {
            Asked::Read => look::read(question, opened),
            Asked::Edit => look::edit(question, opened, &page.shelf),
            Asked::Starter => starter::starter(question),
            Asked::Picture => look::picture(question, opened, turn),
            Asked::Numbers => look::numbers(question, opened, turn),
            Asked::GapChart => look::gap_chart(question, opened, turn),
            Asked::Estimate => shelf::estimate(question, &page.shelf),
            Asked::Motion => takeaway::motion(question, opened, turn),
            Asked::Download => takeaway::download(question, opened),
        }
    }
}

async fn ask(State(page): State<Arc<Page>>, body: Bytes, asked: Asked) -> Response {
    let Ok(question) = serde_json::from_slice::<Value>(&body) else {
        return response(Answer::not_understood("the question is not JSON"));
    };
    let tab = question["page"].as_str().filter(|tab| tab.len() <= 64).unwrap_or("").to_owned();
    let seq = question["seq"].as_u64().unwrap_or(0);
    let Some(turn) = page.turns.take(&tab, asked.turn_kind().unwrap_or("other"), seq) else {
        return response(Answer::stale());
    };
    let permit = match asked.queue(&page) {
        Some(queue) => Some(queue.acquire().await),
        None => None,
    };
    if asked.turn_kind().is_some() && turn.is_stale() {
        return response(Answer::stale());
    }
    let work = Arc::clone(&page);
    let answer = tokio::task::spawn_blocking(move || asked.answer(&question, &work, &turn)).await;
    drop(permit);
    response(answer.unwrap_or_else(|_| failed()))
}

/// One question with photographs at a time, from its first byte on: bodies that wait are not in memory.
async fn photo(State(page): State<Arc<Page>>, request: Request) -> Response {
    let too_long = || response(status(413, "this is more than the page takes at once"));
    let length =
        request.headers().get(header::CONTENT_LENGTH).and_then(|length| length.to_str().ok()?.parse().ok());
    if length.is_some_and(|length: usize| length > MOST_PHOTO_BODY_BYTES) {
        return too_long();
    }
    let Ok(turn) = Arc::clone(&page.photographs).acquire_owned().await else { return response(failed()) };
    let body = match timeout(PHOTO_BODY_WITHIN, to_bytes(request.into_body(), MOST_PHOTO_BODY_BYTES)).await {
        Ok(Ok(body)) => body,
        Ok(Err(_)) => return too_long(),
        Err(_) => return response(status(408, "the photographs took too long to arrive")),
    };
    let question = serde_json::from_slice::<Value>(&body);
    drop(body);
    let Ok(question) = question else {
        return response(Answer::not_understood("the question is not JSON"));
    };
    let _permit = page.heavy.acquire().await;
    let work = Arc::clone(&page);
    let answer = tokio::task::spawn_blocking(move || {
        let answer = photographs::photo(&question, &work.shelf);
        // The turn ends with the work, even where nobody waits for its answer any more.
        drop(turn);
        answer
    });
    response(answer.await.unwrap_or_else(|_| failed()))
}

async fn start(State(page): State<Arc<Page>>) -> Response {
    let scene = page.opened.scene.as_ref().map(|scene| json!({"name": scene.shown_as, "text": scene.text}));
    let demos: Vec<Value> =
        DEMOS.iter().map(|(name, text)| json!({"name": name, "title": title(text), "text": text})).collect();
    let packages: Vec<Value> = Package::names()
        .into_iter()
        .filter(|name| *name != crate::pixels::package::IDEAL)
        .map(|name| json!({"name": name, "words": format!("package {name}")}))
        .collect();
    response(Answer::json(&json!({
        "version": env!("CARGO_PKG_VERSION"), "scene": scene, "demos": demos, "packages": packages,
        "fibres": shelf::fibres(),
    })))
}

/// The value of a scene's `name`.
fn title(text: &str) -> &str {
    text.lines().find_map(|line| line.strip_prefix("name: ")).unwrap_or("")
}

async fn shelf_list(State(page): State<Arc<Page>>) -> Response {
    let answer = tokio::task::spawn_blocking(move || shelf::list(&page.shelf)).await;
    response(answer.unwrap_or_else(|_| failed()))
}

async fn swatch(State(page): State<Arc<Page>>, Path(name): Path<String>) -> Response {
    let answer = tokio::task::spawn_blocking(move || {
        name.strip_suffix(".png").and_then(|name| shelf::swatch(&page.shelf, name)).unwrap_or_else(not_found)
    });
    response(answer.await.unwrap_or_else(|_| failed()))
}

fn asset(name: &str) -> Response {
    match ASSETS.iter().find(|(own, ..)| *own == name) {
        Some((_, kind, text)) => response(Answer::bytes(kind, text.as_bytes().to_vec(), None)),
        None => response(not_found()),
    }
}

fn status(code: u16, what: &str) -> Answer {
    let mut answer = Answer::problem(what, "");
    answer.status = code;
    answer
}

fn not_found() -> Answer {
    status(404, "there is nothing at this address")
}

fn failed() -> Answer {
    status(500, "this question could not be answered; the page goes on")
}

/// Turns away what does not come from the page itself, and says with every answer what a browser may do with it.
async fn guarded(request: Request, next: Next, port: u16) -> Response {
    let refused = refusal(request.method(), request.headers(), port);
    let mut response = match refused {
        Some(what) => self::response(status(403, what)),
        None => plain_refusals(next.run(request).await),
    };
    let headers = response.headers_mut();
    for (name, value) in [
        ("content-security-policy", POLICY),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-resource-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// Refusals of the framework (a body that is too long) in the shape of all others.
fn plain_refusals(response: Response) -> Response {
    if response.status() == StatusCode::PAYLOAD_TOO_LARGE {
        return self::response(status(413, "this is more than the page takes at once"));
    }
    response
}

/// Why a request is turned away.
fn refusal(method: &Method, headers: &HeaderMap, port: u16) -> Option<&'static str> {
    let own =
        |host: &str| ["127.0.0.1", "localhost", "[::1]"].iter().any(|name| host == format!("{name}:{port}"));
    let text = |name| headers.get(name).map(|value: &HeaderValue| value.to_str().unwrap_or(""));
    if !text(header::HOST).is_some_and(own) {
        return Some("this address belongs to the page of this machine alone");
    }
    if text(header::ORIGIN).is_some_and(|origin| !origin.strip_prefix("http://").is_some_and(own)) {
        return Some("only the page itself may ask");
    }
    let json = |kind: &str| kind.split(';').next().is_some_and(|kind| kind.trim() == "application/json");
    if *method == Method::POST && !text(header::CONTENT_TYPE).is_some_and(json) {
        return Some("questions are JSON");
    }
    None
}

fn response(answer: Answer) -> Response {
    let mut response = Response::new(Body::from(answer.body));
    *response.status_mut() = StatusCode::from_u16(answer.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(answer.kind));
    if let Some(about) = answer.about.and_then(|about| HeaderValue::from_str(&ascii(&about.to_string())).ok())
    {
        headers.insert("x-weftlight", about);
    }
    let saved = answer.file_name.map(|name| format!("attachment; filename=\"{name}\""));
    if let Some(saved) = saved.and_then(|saved| HeaderValue::from_str(&saved).ok()) {
        headers.insert(header::CONTENT_DISPOSITION, saved);
    }
    response
}

/// JSON in ASCII: headers carry nothing else.
fn ascii(json: &str) -> String {
    let mut units = [0u16; 2];
    json.chars()
        .flat_map(|c| {
            if c.is_ascii() {
                vec![c.to_string()]
            } else {
                c.encode_utf16(&mut units).iter().map(|unit| format!("\\u{unit:04x}")).collect()
            }
        })
        .collect()
}
