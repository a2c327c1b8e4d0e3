//! `weftlight serve`: can I just try things by hand?

use super::listen::{Wishes, listen};
use super::{Outcome, output};
use crate::cloth::Cloth;
use crate::cloth::catalogue::{ClothSource, NamedBytes, NamedText};
use crate::diagnose::Diagnostic;
use crate::files;
use crate::page::asked::Opened;
use crate::page::router::{Page, router};
use crate::scene::file::resolve;
use clap::Args;
use std::cell::RefCell;
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Open a page in the browser, on this machine only, on which everything can be tried by hand
///
/// The page is at the address that is printed; nobody else can reach it, and it loads nothing from elsewhere. It writes no
/// files: what you make you save from the browser. Stop it with Ctrl-C.
#[derive(Debug, Args)]
#[command(after_help = "Example: weftlight serve scenes/collar.yaml --open")]
pub(super) struct Arguments {
    /// A scene file to begin with; the cloth files and drawings that it names are opened with it
    #[arg(value_name = "SCENE")]
    scene: Option<PathBuf>,

    /// Port on this machine; 0 takes any that is free
    #[arg(long, value_name = "N", default_value_t = 0)]
    port: u16,

    /// Open the page in the browser
    #[arg(long)]
    open: bool,
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Vec<Diagnostic>> {
    let opened = match &arguments.scene {
        Some(path) => opened(path)?,
        None => Opened::default(),
    };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| fault("the page", format!("the page cannot be started: {error}")))?;
    let outcome = runtime.block_on(serve(arguments, opened));
    // Work that nobody waits for any more ends with the program.
    runtime.shutdown_background();
    outcome
}

async fn serve(arguments: &Arguments, opened: Opened) -> Result<Outcome, Vec<Diagnostic>> {
    let wanted = SocketAddr::from((Ipv4Addr::LOCALHOST, arguments.port));
    let listener = tokio::net::TcpListener::bind(wanted).await.map_err(|error| {
        let what = match error.kind() {
            std::io::ErrorKind::AddrInUse => "another program uses this port".to_owned(),
            std::io::ErrorKind::PermissionDenied => "this port may not be used".to_owned(),
            _ => format!("the port cannot be used: {error}"),
        };
        let fault = Diagnostic::of_file(&format!("--port {}", arguments.port), what);
        vec![fault.next("Choose another one, or leave --port out: then any free port is taken.")]
    })?;
    let port = listener.local_addr().map_or(arguments.port, |address| address.port());
    let address = format!("http://127.0.0.1:{port}/");
    // Before the address is told: whoever reads it may end the page at once.
    let mut wishes =
        Wishes::heard().map_err(|error| fault(&address, format!("Ctrl-C cannot be heard: {error}")))?;
    let told = output::data(&format!("The page is at {address} (Ctrl-C stops it)."));
    if told != Outcome::Fine {
        return Ok(told);
    }
    if arguments.open && !open(&address) {
        output::message(&format!("No browser could be opened; go to {address} yourself."));
    }
    let page = Arc::new(Page::new(opened));
    listen(listener, router(page, port), &mut wishes).await;
    output::message("The page is closed.");
    Ok(Outcome::Fine)
}

fn fault(at: &str, what: String) -> Vec<Diagnostic> {
    vec![Diagnostic::of_file(at, what)]
}

/// Asks the system to open an address; whether it took the request.
fn open(address: &str) -> bool {
    let (program, before): (&str, &[&str]) = if cfg!(target_os = "macos") {
        ("open", &[])
    } else if cfg!(target_os = "windows") {
        ("rundll32", &["url.dll,FileProtocolHandler"])
    } else {
        ("xdg-open", &[])
    };
    std::process::Command::new(program)
        .args(before)
        .arg(address)
        .stdin(std::process::Stdio::null())
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn()
        .is_ok()
}

/// Notes every file that a scene names, while it is read.
struct Noting {
    beside: files::ClothsBeside,
    opened: RefCell<Opened>,
}

impl ClothSource for Noting {
    fn by_path(&self, path: &str) -> Result<Arc<Cloth>, Vec<Diagnostic>> {
        let cloth = self.beside.by_path(path)?;
        self.opened.borrow_mut().cloths.insert(path.to_owned(), Arc::clone(&cloth));
        Ok(cloth)
    }

    fn drawing_text(&self, path: &str) -> Result<NamedText, Vec<Diagnostic>> {
        let text = self.beside.drawing_text(path)?;
        self.opened.borrow_mut().drawings.insert(path.to_owned(), text.clone());
        Ok(text)
    }

    fn picture_bytes(&self, path: &str) -> Result<NamedBytes, Vec<Diagnostic>> {
        let bytes = self.beside.picture_bytes(path)?;
        self.opened.borrow_mut().pictures.insert(path.to_owned(), bytes.clone());
        Ok(bytes)
    }
}

/// The scene and all files that it names. A scene with faults opens as well: the page shows them at their places.
fn opened(path: &Path) -> Result<Opened, Vec<Diagnostic>> {
    let text = files::read_text(path)?;
    let noting = Noting { beside: files::ClothsBeside::scene(path), opened: RefCell::default() };
    let shown_as = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    // What is wrong with it the page will say; a photograph that is missing is no more than a picture that cannot be made.
    let resolved = resolve(&text, &shown_as, &noting);
    if let Some(photo) = resolved.ok().and_then(|resolved| resolved.scene.view.photo) {
        let _ = noting.picture_bytes(&photo.file);
    }
    let mut opened = noting.opened.into_inner();
    opened.scene = Some(NamedText { shown_as, text });
    Ok(opened)
}
