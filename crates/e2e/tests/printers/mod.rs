//! Real printers on a network that has nothing but the loopback in it: ippeveprinter, which is
//! nobody's printer but speaks as one, with what it was sent kept for looking at.

#![allow(
    dead_code,
    unreachable_pub,
    reason = "shared with the tests, as the other helpers are"
)]

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::program::program;

/// How long anything may take that is waited for.
const PATIENCE: Duration = Duration::from_secs(30);

const INSTALL: &str = "apt-get install -y cups-ipp-utils avahi-daemon dbus iproute2 util-linux qpdf poppler-utils cups-daemon cups-client cups-filters";

/// The network, and the program with a data folder of its own.
pub struct Isle {
    inside: Child,
    folder: tempfile::TempDir,
}

fn here() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/printers")
}

fn is_root() -> bool {
    let id = Command::new("id").arg("-u").output().expect("id runs");
    id.stdout == b"0\n"
}

impl Isle {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let mut command = Command::new("unshare");
        if !is_root() {
            command.arg("--map-root-user");
        }
        let mut inside = command
            .args(["--net", "--mount", "sh"])
            .arg(here().join("isle.sh"))
            .arg(folder.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap_or_else(|e| panic!("unshare is needed ({e}): {INSTALL}"));
        let mut said = String::new();
        let stdout = inside.stdout.take().expect("a pipe");
        let mut stdout = BufReader::new(stdout);
        stdout.read_line(&mut said).expect("it speaks");
        assert_eq!(said, "ready\n", "the network is not up: {INSTALL}");
        Self { inside, folder }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// A command inside this network.
    pub fn command(&self, program: &Path) -> Command {
        let mut command = Command::new("nsenter");
        if !is_root() {
            command.args(["--user", "--preserve-credentials"]);
        }
        command
            .args(["--net", "--mount", "--target"])
            .arg(self.inside.id().to_string())
            .args(["setpriv", "--pdeathsig", "KILL"])
            .arg(program)
            .current_dir(self.folder.path())
            .env("DBUS_SYSTEM_BUS_ADDRESS", "unix:path=/run/bus");
        command
    }

    pub fn tympan(&self, args: &[&str]) -> Command {
        let mut command = self.command(program());
        command
            .args(args)
            .env("TYMPAN_DATA", self.path("data"))
            .env("NO_COLOR", "1")
            .stdin(Stdio::null());
        command
    }

    /// Runs the program, which must do what it is asked; what it says on stdout, as JSON.
    pub fn done(&self, args: &[&str]) -> Value {
        let output = self.tympan(&[args, &["--json"]].concat()).output();
        let output = output.expect("the program runs");
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "tympan {}\n{said}", args.join(" "));
        serde_json::from_slice(&output.stdout).expect("JSON")
    }

    /// Runs the program, which must refuse; what it says on stderr.
    pub fn refused(&self, args: &[&str]) -> String {
        let output = self.tympan(args).output().expect("the program runs");
        refusal(&output)
    }
}

/// A print service with a queue for a printer.
pub struct Service {
    child: Child,
}

impl Service {
    pub fn start(isle: &Isle, queue: &str, printer: &Device<'_>) -> Self {
        // The service's filters run as a user of their own.
        let open = fs::Permissions::from_mode(0o755);
        fs::set_permissions(isle.folder.path(), open).expect("opened");
        let child = isle
            .command(&here().join("cups.sh"))
            .arg(isle.path("cups"))
            .stdin(Stdio::null())
            .spawn()
            .expect("cupsd runs");
        let service = Self { child };
        let log = isle.path("cups/log/error");
        wait_for(
            "the print service starts (apt-get install -y cups-daemon)",
            || fs::read_to_string(&log).is_ok_and(|said| said.contains("Resuming new connection")),
        );
        let made = isle
            .command(Path::new("lpadmin"))
            .args(["-h", "localhost:631", "-p", queue, "-E", "-m", "everywhere"])
            .args(["-v", &format!("ipp://localhost:{}/ipp/print", printer.port)])
            .status()
            .expect("lpadmin runs");
        assert!(made.success());
        let ppd = isle.path(&format!("cups/etc/ppd/{queue}.ppd"));
        wait_for("the queue is made (apt-get install -y cups-client)", || {
            ppd.exists()
        });
        service
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        send("TERM", &self.child);
        let _ = self.child.wait();
    }
}

/// A gate before a printer that wants a name and a password by HTTP Digest: see `gate.py`.
pub struct Gate {
    child: Child,
    log: PathBuf,
    pub port: u16,
}

impl Gate {
    /// The name and the password that it takes.
    pub const OPENS: (&str, &str) = ("Marsh \"Keeper\"", "pricked: twice");

    /// A gate whose challenges are good for so many requests.
    pub fn start(isle: &Isle, printer: &Device<'_>, algorithm: &str, uses: u32) -> Self {
        let port = printer.port + 1000;
        let log = isle.path(&format!("gate {algorithm}"));
        fs::write(&log, "").expect("written");
        let mut child = isle
            .command(Path::new("python3"))
            .arg(here().join("gate.py"))
            .args([port, printer.port].map(|port| port.to_string()))
            .args([algorithm, &uses.to_string()])
            .arg(&log)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .expect("python3 runs");
        let mut said = String::new();
        let stdout = child.stdout.take().expect("a pipe");
        let mut stdout = BufReader::new(stdout);
        stdout.read_line(&mut said).expect("it speaks");
        assert_eq!(said, "open\n");
        Self { child, log, port }
    }

    pub fn address(&self) -> String {
        format!("ipp://127.0.0.1:{}/ipp/print", self.port)
    }

    /// An address that is not this machine's for all that Tympan knows, so that the connection
    /// counts as open to others.
    pub fn open_address(&self) -> String {
        format!("ipp://127.0.0.2:{}/ipp/print", self.port)
    }

    /// The fields of all that it was asked with.
    pub fn log(&self) -> String {
        fs::read_to_string(&self.log).expect("a log")
    }
}

impl Drop for Gate {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What a program that refused says.
pub fn refusal(output: &Output) -> String {
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(!said.contains("panicked"), "{said}");
    said
}

impl Drop for Isle {
    fn drop(&mut self) {
        // The end of its stdin is its end.
        drop(self.inside.stdin.take());
        let _ = self.inside.wait();
    }
}

/// A printer.
pub struct Device<'a> {
    isle: &'a Isle,
    name: &'static str,
    conf: &'static str,
    more: Vec<String>,
    child: Option<Child>,
    pub port: u16,
}

impl<'a> Device<'a> {
    pub fn start(isle: &'a Isle, name: &'static str, conf: &'static str) -> Self {
        Self::start_with(isle, name, conf, &[])
    }

    pub fn start_with(
        isle: &'a Isle,
        name: &'static str,
        conf: &'static str,
        more: &[&str],
    ) -> Self {
        let mut device = Self {
            isle,
            name,
            conf,
            more: more.iter().map(|word| (*word).to_owned()).collect(),
            child: None,
            // Each network is its own, so every printer of a test may have its usual port.
            port: 8631 + fs::read_dir(isle.folder.path()).expect("a folder").count() as u16,
        };
        let folder = device.folder();
        fs::create_dir_all(folder.join("spool")).expect("a folder");
        fs::create_dir_all(folder.join("keys")).expect("a folder");
        fs::copy(here().join("raster.py"), folder.join("raster.py")).expect("copied");
        device.behave("well");
        device.switch_on();
        device
    }

    fn folder(&self) -> PathBuf {
        self.isle.path(&format!("printer {}", self.name))
    }

    /// What goes wrong from now on: see `command.sh`.
    pub fn behave(&self, behaviour: &str) {
        let text = match behaviour.contains(' ') {
            true => format!("{behaviour}\n"),
            false => format!("{behaviour} -1\n"),
        };
        fs::write(self.folder().join("behaviour"), text).expect("written");
    }

    /// Loads paper, clears the jam.
    pub fn mend(&self) {
        fs::write(self.folder().join("mended"), "").expect("written");
    }

    pub fn switch_on(&mut self) {
        let folder = self.folder();
        let log = fs::File::create(folder.join("log")).expect("a file");
        let mut command = self.isle.command(Path::new("ippeveprinter"));
        command
            .args(["-vv", "-n", "localhost", "-p", &self.port.to_string()])
            .arg("-a")
            .arg(here().join(self.conf))
            .arg("-d")
            .arg(folder.join("spool"))
            .arg("-K")
            .arg(folder.join("keys"))
            .arg("-c")
            .arg(here().join("command.sh"))
            .args(&self.more)
            .arg(self.name)
            .env("PRINTER_FOLDER", &folder)
            .env("HOME", &folder)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log);
        let child = command.spawn();
        self.child = Some(child.unwrap_or_else(|e| panic!("no printer ({e}): {INSTALL}")));
        let log = folder.join("log");
        wait_for("the printer starts", || {
            let said = fs::read_to_string(&log).unwrap_or_default();
            assert!(!said.contains("Unable to"), "{said}");
            said.contains("printer-uuid")
        });
    }

    pub fn switch_off(&mut self) {
        if let Some(mut child) = self.child.take() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }

    /// Sends the printer's process a signal.
    pub fn signal(&self, signal: &str) {
        if let Some(child) = &self.child {
            send(signal, child);
        }
    }

    pub fn address(&self) -> String {
        format!("ipp://127.0.0.1:{}/ipp/print", self.port)
    }

    pub fn secure_address(&self) -> String {
        format!("ipps://localhost:{}/ipp/print", self.port)
    }

    /// How many jobs have reached the printer's works.
    pub fn jobs(&self) -> usize {
        let names = fs::read_dir(self.folder()).expect("a folder");
        let is_job = |name: &str| name.starts_with("job-") && name.ends_with(".env");
        names
            .flatten()
            .filter(|entry| entry.file_name().to_str().is_some_and(is_job))
            .count()
    }

    /// The document of a job, counted from 1.
    pub fn document(&self, job: usize) -> PathBuf {
        self.folder().join(format!("job-{job}.document"))
    }

    /// What a job asked for: an attribute as ippeveprinter gives it to its command.
    pub fn asked(&self, job: usize, name: &str) -> String {
        let env = fs::read_to_string(self.folder().join(format!("job-{job}.env")));
        let env = env.expect("a job");
        let name = format!("IPP_{}=", name.to_uppercase().replace('-', "_"));
        env.lines()
            .find_map(|line| line.strip_prefix(&name))
            .unwrap_or_else(|| panic!("no {name} in\n{env}"))
            .to_owned()
    }

    pub fn has(&self, file: &str) -> bool {
        self.folder().join(file).exists()
    }

    pub fn log(&self) -> String {
        fs::read_to_string(self.folder().join("log")).unwrap_or_default()
    }

    pub fn keys(&self) -> PathBuf {
        self.folder().join("keys")
    }

    /// The headers of a raster document.
    pub fn headers(&self, job: usize) -> Vec<Value> {
        let told = self.raster(&["tell", text(&self.document(job))]);
        serde_json::from_slice(&told).expect("JSON")
    }

    /// The pages of a raster document as pictures.
    pub fn pictures(&self, job: usize) -> Vec<Picture> {
        let folder = tempfile::tempdir().expect("a folder");
        let document = self.document(job);
        self.raster(&["pages", text(&document), text(folder.path())]);
        let file = |page: usize| folder.path().join(format!("page-{page}.pnm"));
        (1..)
            .map(file)
            .take_while(|file| file.exists())
            .map(|file| Picture::read(&file))
            .collect()
    }

    fn raster(&self, args: &[&str]) -> Vec<u8> {
        let script = here().join("raster.py");
        let output = Command::new("python3").arg(script).args(args).output();
        let output = output.expect("python3 runs");
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{said}");
        output.stdout
    }
}

impl Drop for Device<'_> {
    fn drop(&mut self) {
        self.signal("CONT");
        self.switch_off();
    }
}

pub fn text(path: &Path) -> &str {
    path.to_str().expect("a plain path")
}

/// Sends a process a signal.
pub fn send(signal: &str, child: &Child) {
    let sent = Command::new("kill")
        .args(["-s", signal, &child.id().to_string()])
        .status();
    assert!(sent.expect("kill runs").success());
}

/// Waits until something is so.
pub fn wait_for(what: &str, mut is_so: impl FnMut() -> bool) {
    let end = Instant::now() + PATIENCE;
    while !is_so() {
        assert!(Instant::now() < end, "waited in vain: {what}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// What a running program says on stderr, line by line as it comes.
pub struct Said {
    lines: std::sync::mpsc::Receiver<String>,
    all: String,
}

impl Said {
    pub fn of(child: &mut Child) -> Self {
        let (sender, lines) = std::sync::mpsc::channel();
        let stderr = child.stderr.take().expect("a pipe");
        std::thread::spawn(move || {
            for line in BufReader::new(stderr).lines().map_while(Result::ok) {
                if sender.send(line).is_err() {
                    break;
                }
            }
        });
        Self {
            lines,
            all: String::new(),
        }
    }

    /// Waits until it has said this.
    pub fn wait_for(&mut self, words: &str) {
        let end = Instant::now() + PATIENCE;
        while !self.all.contains(words) {
            let left = end.saturating_duration_since(Instant::now());
            match self.lines.recv_timeout(left) {
                Ok(line) => {
                    self.all.push_str(&line);
                    self.all.push('\n');
                }
                Err(_) => panic!("it never said \"{words}\", only:\n{}", self.all),
            }
        }
    }

    /// All that it has said when it has ended.
    pub fn whole(mut self) -> String {
        while let Ok(line) = self.lines.recv_timeout(PATIENCE) {
            self.all.push_str(&line);
            self.all.push('\n');
        }
        self.all
    }
}

/// A picture, in grey.
pub struct Picture {
    pub width: usize,
    pub height: usize,
    pub grey: Vec<u8>,
}

impl Picture {
    /// Reads a PNM picture of one, eight or 24 bits.
    pub fn read(file: &Path) -> Self {
        let mut bytes = Vec::new();
        let mut opened = fs::File::open(file).expect("a picture");
        opened.read_to_end(&mut bytes).expect("read");
        let mut at = 0;
        let mut word = || {
            while bytes[at].is_ascii_whitespace() {
                at += 1;
            }
            let start = at;
            while !bytes[at].is_ascii_whitespace() {
                at += 1;
            }
            std::str::from_utf8(&bytes[start..at])
                .expect("text")
                .to_owned()
        };
        let kind = word();
        let number = |text: String| text.parse::<usize>().expect("a number");
        let (width, height) = (number(word()), number(word()));
        if kind != "P4" {
            assert_eq!(word(), "255");
        }
        let dots = &bytes[at + 1..];
        let grey = match kind.as_str() {
            "P4" => (0..height)
                .flat_map(|y| (0..width).map(move |x| (x, y)))
                .map(|(x, y)| {
                    let byte = dots[y * width.div_ceil(8) + x / 8];
                    if byte >> (7 - x % 8) & 1 == 1 { 0 } else { 255 }
                })
                .collect(),
            "P5" => dots.to_vec(),
            _ => dots
                .chunks_exact(3)
                .map(|p| ((u32::from(p[0]) + u32::from(p[1]) + u32::from(p[2])) / 3) as u8)
                .collect(),
        };
        assert_eq!(grey.len(), width * height);
        Self {
            width,
            height,
            grey,
        }
    }

    pub fn at(&self, x: usize, y: usize) -> u8 {
        self.grey[y * self.width + x]
    }

    /// The first and the last dark dot of a row.
    pub fn dark(&self, y: usize) -> (usize, usize) {
        let is_dark = |x: &usize| self.at(*x, y) < 128;
        let first = (0..self.width).find(is_dark).expect("something dark");
        let last = (0..self.width).rev().find(is_dark).expect("something dark");
        (first, last)
    }

    /// The share of dots that differ by more than a quarter of black from another picture's,
    /// over what both have.
    pub fn difference(&self, other: &Self) -> f64 {
        let (w, h) = (self.width.min(other.width), self.height.min(other.height));
        let differs = (0..h)
            .flat_map(|y| (0..w).map(move |x| (x, y)))
            .filter(|(x, y)| self.at(*x, *y).abs_diff(other.at(*x, *y)) > 64)
            .count();
        differs as f64 / (w * h) as f64
    }
}

/// The pages of a PDF as poppler draws them.
pub fn poppler(pdf: &Path, dpi: u32) -> Vec<Picture> {
    let folder = tempfile::tempdir().expect("a folder");
    let drawn = Command::new("pdftoppm")
        .args(["-r", &dpi.to_string()])
        .arg(pdf)
        .arg(folder.path().join("page"))
        .status()
        .unwrap_or_else(|e| panic!("pdftoppm is needed ({e}): {INSTALL}"));
    assert!(drawn.success());
    let mut files: Vec<PathBuf> = fs::read_dir(folder.path())
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    files.sort();
    files.iter().map(|file| Picture::read(file)).collect()
}

/// The words of each page of a PDF.
pub fn words(pdf: &Path) -> Vec<String> {
    let output = Command::new("pdftotext").arg(pdf).arg("-").output();
    let output = output.unwrap_or_else(|e| panic!("pdftotext is needed ({e}): {INSTALL}"));
    let all = String::from_utf8(output.stdout).expect("text");
    let pages = all.split('\u{c}').map(|page| page.trim().to_owned());
    pages.filter(|page| !page.is_empty()).collect()
}

/// Writes a pass of A4 pages, each with its number in words, a rule of 190 mm from 10 mm to 200 mm
/// across at 100 mm from the head, and a block near the head's left corner so that no turned or
/// mirrored page looks like another.
pub fn write_pass(file: &Path, pages: usize) {
    let pt = |mm: f64| mm / 25.4 * 72.0;
    let (w, h) = (pt(210.0), pt(297.0));
    let mut objects = vec![
        "<< /Type /Catalog /Pages 2 0 R >>".to_owned(),
        format!(
            "<< /Type /Pages /Count {pages} /Kids [{}] >>",
            (0..pages)
                .map(|page| format!("{} 0 R ", 4 + 2 * page))
                .collect::<String>()
        ),
        "<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>".to_owned(),
    ];
    for page in 0..pages {
        let mut content = String::new();
        let mut block = |colour: &str, x: f64, y: f64, w: f64, h_mm: f64| {
            content.push_str(&format!(
                "{colour} rg {:.4} {:.4} {:.4} {:.4} re f\n",
                pt(x),
                h - pt(y + h_mm),
                pt(w),
                pt(h_mm)
            ));
        };
        block("0 0 0", 10.0, 100.0, 190.0, 1.0);
        block("0.1 0.2 0.6", 20.0, 25.0, 30.0, 15.0);
        for tally in 0..=page {
            block("0.7 0.1 0.1", 20.0 + 8.0 * tally as f64, 60.0, 5.0, 20.0);
        }
        content.push_str(&format!(
            "0 g BT /F1 40 Tf {:.2} {:.2} Td (page {}) Tj ET",
            pt(60.0),
            pt(120.0),
            page + 1
        ));
        objects.push(format!(
            "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {w:.4} {h:.4}] /Contents {} 0 R \
             /Resources << /Font << /F1 3 0 R >> >> >>",
            5 + 2 * page
        ));
        objects.push(format!(
            "<< /Length {} >>\nstream\n{content}\nendstream",
            content.len()
        ));
    }
    let mut pdf = b"%PDF-1.4\n".to_vec();
    let mut places = Vec::new();
    for (at, object) in objects.iter().enumerate() {
        places.push(pdf.len());
        writeln!(pdf, "{} 0 obj\n{object}\nendobj", at + 1).expect("in memory");
    }
    let start = pdf.len();
    writeln!(pdf, "xref\n0 {}\n0000000000 65535 f ", objects.len() + 1).expect("in memory");
    for place in places {
        writeln!(pdf, "{place:010} 00000 n ").expect("in memory");
    }
    writeln!(
        pdf,
        "trailer << /Size {} /Root 1 0 R >>\nstartxref\n{start}\n%%EOF",
        objects.len() + 1
    )
    .expect("in memory");
    fs::write(file, pdf).expect("written");
}
