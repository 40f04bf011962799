//! What the tests share: the built program as a server, and a plain way to speak to it.

#![allow(dead_code, unreachable_pub)]

pub mod browser;
pub mod program;

use std::fs;
use std::io::{BufRead, BufReader, BufWriter, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

pub use program::{program, target};

/// The output of an outside tool; fails with the way to get it.
pub fn tool(name: &str, package: &str, args: &[&str]) -> String {
    let output = Command::new(name).args(args).output().unwrap_or_else(|e| {
        panic!("{name} cannot be run ({e}): install it with apt-get install {package}")
    });
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let wrong = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{name} {args:?}: {said}{wrong}");
    said
}

/// What the program answers on the command line, which it must.
pub fn by_command(args: &[&str]) -> String {
    let output = Command::new(program()).args(args).output();
    let output = output.expect("the program starts");
    let wrong = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "tympan {args:?}: {wrong}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Locks a PDF with the password `ferry`.
pub fn lock(open: &Path, locked: &Path) {
    let (from, to) = (open.display().to_string(), locked.display().to_string());
    let args = ["--encrypt", "ferry", "owner", "256", "--", &from, &to];
    tool("qpdf", "qpdf", &args);
}

/// A running server with a data folder of its own.
pub struct Server {
    child: Child,
    pub address: String,
    pub port: u16,
    pub data: PathBuf,
    _folder: Option<tempfile::TempDir>,
}

impl Server {
    pub fn start() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let data = folder.path().join("data");
        let mut server = Self::start_on(&data);
        server._folder = Some(folder);
        server
    }

    /// On a data folder that is there already.
    pub fn start_on(data: &Path) -> Self {
        let mut child = Command::new(program())
            .arg("--data")
            .arg(data)
            .args(["serve", "--no-open", "--port", "0", "--patience", "1"])
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let out = child.stdout.take().expect("its output");
        let mut address = String::new();
        BufReader::new(out).read_line(&mut address).expect("a line");
        let address = address.trim().to_owned();
        let port = address
            .trim_end_matches('/')
            .rsplit(':')
            .next()
            .and_then(|port| port.parse().ok())
            .unwrap_or_else(|| panic!("an address, not {address:?}"));
        Self {
            child,
            address,
            port,
            data: data.to_path_buf(),
            _folder: None,
        }
    }

    /// Ends it as a power cut would.
    pub fn kill(&mut self) {
        self.child.kill().expect("killed");
        self.child.wait().expect("gone");
    }

    pub fn is_alive(&mut self) -> bool {
        matches!(self.child.try_wait(), Ok(None))
    }

    pub fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(("127.0.0.1", self.port)).expect("it listens");
        let patience = Some(Duration::from_secs(20));
        stream.set_read_timeout(patience).expect("a time limit");
        stream
    }

    /// Sends bytes as they are and gives back the whole answer.
    pub fn raw(&self, request: &[u8]) -> Answer {
        let mut stream = self.connect();
        // A server that has answered already may have closed its ear.
        let _ = stream.write_all(request);
        Answer::read(&mut stream)
    }

    pub fn get(&self, path: &str) -> Answer {
        self.get_from(path, &self.host())
    }

    pub fn get_from(&self, path: &str, host: &str) -> Answer {
        let request = format!("GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n");
        self.raw(request.as_bytes())
    }

    pub fn host(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }

    pub fn token(&self) -> String {
        let told = self.get("/api/hello").json();
        told["token"].as_str().expect("a token").to_owned()
    }

    /// The head of an honest change.
    pub fn head(&self, path: &str, length: usize) -> String {
        format!(
            "POST {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n\
             X-Tympan-Token: {token}\r\nContent-Type: application/json\r\n\
             Content-Length: {length}\r\nConnection: close\r\n\r\n",
            host = self.host(),
            token = self.token(),
        )
    }

    pub fn post(&self, path: &str, body: &[u8]) -> Answer {
        let mut request = self.head(path, body.len()).into_bytes();
        request.extend_from_slice(body);
        self.raw(&request)
    }

    /// What the desk has of files that did not wholly arrive.
    pub fn half_there(&self) -> Vec<PathBuf> {
        let entries = fs::read_dir(self.data.join("desk/incoming")).expect("the folder");
        entries.flatten().map(|entry| entry.path()).collect()
    }

    pub fn works(&self) -> usize {
        fs::read_dir(self.data.join("desk/work"))
            .expect("the folder")
            .count()
    }

    /// Waits until the work's long work has ended, and says how.
    pub fn job(&self, id: &str) -> serde_json::Value {
        for _ in 0..400 {
            let told = self.get(&format!("/api/work/{id}")).json();
            if !told["job"].is_null() && told["job"]["state"] != "running" {
                return told["job"].clone();
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        panic!("the work on {id} does not end");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An answer of the server.
#[derive(Debug)]
pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Answer {
    fn read(stream: &mut TcpStream) -> Self {
        let mut all = Vec::new();
        // A connection that is cut off after the answer has given the answer all the same.
        let _ = stream.read_to_end(&mut all);
        let end = all
            .windows(4)
            .position(|window| window == b"\r\n\r\n")
            .unwrap_or(all.len());
        let head = String::from_utf8_lossy(&all[..end]).into_owned();
        let status = head
            .split(' ')
            .nth(1)
            .and_then(|status| status.parse().ok())
            .unwrap_or(0);
        let body = all.get(end + 4..).unwrap_or_default().to_vec();
        Self { status, head, body }
    }

    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|e| panic!("no JSON ({e}): {}", String::from_utf8_lossy(&self.body)))
    }

    pub fn message(&self) -> String {
        self.json()["refused"]["message"]
            .as_str()
            .expect("a message")
            .to_owned()
    }
}

/// A PDF of two A4 pages that is drawn by hand: on the front (40, 60) mm, on the back its mirror
/// image, a square of 20 mm.
pub fn pair_pdf() -> Vec<u8> {
    let mm = 72.0 / 25.4;
    let (w, h) = (595.2756, 841.8898);
    let mut pdf = b"%PDF-1.4\n".to_vec();
    let mut places = Vec::new();
    let mut add = |pdf: &mut Vec<u8>, object: String| {
        places.push(pdf.len());
        pdf.extend_from_slice(format!("{} 0 obj\n{object}\nendobj\n", places.len()).as_bytes());
    };
    add(&mut pdf, "<< /Type /Catalog /Pages 2 0 R >>".into());
    add(
        &mut pdf,
        "<< /Type /Pages /Count 2 /Kids [3 0 R 4 0 R] >>".into(),
    );
    for content in [5, 6] {
        add(
            &mut pdf,
            format!(
                "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {w} {h}] /Resources << >> /Contents {content} 0 R >>"
            ),
        );
    }
    for x in [40.0, 210.0 - 60.0] {
        let stream = format!(
            "0 g {} {} {} {} re f",
            x * mm,
            h - 80.0 * mm,
            20.0 * mm,
            20.0 * mm
        );
        add(
            &mut pdf,
            format!(
                "<< /Length {} >>\nstream\n{stream}\nendstream",
                stream.len()
            ),
        );
    }
    let start = pdf.len();
    let mut table = format!("xref\n0 {}\n0000000000 65535 f \n", places.len() + 1);
    for place in &places {
        table.push_str(&format!("{place:010} 00000 n \n"));
    }
    table.push_str(&format!(
        "trailer\n<< /Size {} /Root 1 0 R >>\nstartxref\n{start}\n%%EOF\n",
        places.len() + 1
    ));
    pdf.extend_from_slice(table.as_bytes());
    pdf
}

/// A file of so many A4 pages with one picture each that cannot be packed, 13 MB a page.
pub fn large_pdf(path: &Path, pages: usize) {
    const PIXELS: (usize, usize) = (2480, 1750);
    let mut file = BufWriter::new(fs::File::create(path).expect("a file"));
    let mut at = 0;
    let mut places = Vec::new();
    let mut put = |file: &mut BufWriter<fs::File>, bytes: &[u8]| {
        file.write_all(bytes).expect("written");
        at += bytes.len();
        at
    };
    put(&mut file, b"%PDF-1.4\n");
    let kids: Vec<String> = (0..pages).map(|i| format!("{} 0 R", 3 + 3 * i)).collect();
    let mut objects: Vec<Vec<u8>> = vec![
        b"<< /Type /Catalog /Pages 2 0 R >>".to_vec(),
        format!(
            "<< /Type /Pages /Count {pages} /Kids [{}] >>",
            kids.join(" ")
        )
        .into_bytes(),
    ];
    let (w, h) = PIXELS;
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    for page in 0..pages {
        let first = 3 + 3 * page;
        objects.push(
            format!(
                "<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595.276 841.89] /Contents {} 0 R \
                 /Resources << /XObject << /I {} 0 R >> >> >>",
                first + 1,
                first + 2
            )
            .into_bytes(),
        );
        let draw = "q 500 0 0 353 47 244 cm /I Do Q";
        objects
            .push(format!("<< /Length {} >>\nstream\n{draw}\nendstream", draw.len()).into_bytes());
        let mut picture = format!(
            "<< /Type /XObject /Subtype /Image /Width {w} /Height {h} /BitsPerComponent 8 \
             /ColorSpace /DeviceRGB /Length {} >>\nstream\n",
            3 * w * h
        )
        .into_bytes();
        for _ in 0..3 * w * h / 8 {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            picture.extend_from_slice(&state.to_le_bytes());
        }
        picture.extend(std::iter::repeat_n(0, 3 * w * h % 8));
        picture.extend_from_slice(b"\nendstream");
        objects.push(picture);
    }
    let mut here = 9;
    for (i, object) in objects.iter().enumerate() {
        places.push(here);
        put(&mut file, format!("{} 0 obj\n", i + 1).as_bytes());
        put(&mut file, object);
        here = put(&mut file, b"\nendobj\n");
    }
    let mut table = format!("xref\n0 {}\n0000000000 65535 f \n", places.len() + 1);
    for place in &places {
        table.push_str(&format!("{place:010} 00000 n \n"));
    }
    table.push_str(&format!(
        "trailer\n<< /Size {} /Root 1 0 R >>\nstartxref\n{here}\n%%EOF\n",
        places.len() + 1
    ));
    put(&mut file, table.as_bytes());
}

/// Where the dark square lies on a page of a PDF, by poppler: left and top, mm.
pub fn square_by_poppler(pdf: &Path, page: u32) -> (f64, f64) {
    const DPI: f64 = 254.0;
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("page");
    let number = page.to_string();
    tool(
        "pdftoppm",
        "poppler-utils",
        &[
            "-r",
            "254",
            "-gray",
            "-singlefile",
            "-f",
            &number,
            "-l",
            &number,
            &pdf.display().to_string(),
            &out.display().to_string(),
        ],
    );
    let pgm = fs::read(out.with_extension("pgm")).expect("a picture");
    let (width, at) = pgm_header(&pgm);
    let dark = |i: &usize| pgm[at + i] < 128;
    let inked: Vec<usize> = (0..pgm.len() - at).filter(dark).collect();
    assert!(!inked.is_empty(), "the page is blank");
    let left = inked.iter().map(|i| i % width).min().expect("inked");
    let top = inked[0] / width;
    (left as f64 * 25.4 / DPI, top as f64 * 25.4 / DPI)
}

/// Width and where the pixels begin.
fn pgm_header(pgm: &[u8]) -> (usize, usize) {
    let mut fields = Vec::new();
    let mut at = 0;
    while fields.len() < 4 {
        let end = at
            + pgm[at..]
                .iter()
                .position(u8::is_ascii_whitespace)
                .expect("a head");
        fields.push(String::from_utf8_lossy(&pgm[at..end]).into_owned());
        at = end + 1;
    }
    (fields[1].parse().expect("a width"), at)
}
