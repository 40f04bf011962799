//! What strangers may send to the server: nothing of it is done, and nothing is left behind.

mod common;

use std::io::{Read, Write};
use std::time::{Duration, Instant};

use common::{Server, pair_pdf, program};

#[test]
fn other_names_for_this_machine_are_not_answered() {
    let server = Server::start();
    let port = server.port;
    assert_eq!(server.get("/").status, 200);
    assert_eq!(
        server.get_from("/", &format!("localhost:{port}")).status,
        200
    );
    for host in [
        "evil.example".to_owned(),
        format!("evil.example:{port}"),
        format!("localhost.evil.example:{port}"),
        "127.0.0.1".to_owned(),
        format!("127.0.0.1:{}", port ^ 1),
        String::new(),
    ] {
        let answer = server.get_from("/api/hello", &host);
        assert_eq!(answer.status, 421, "{host:?}");
        assert!(!String::from_utf8_lossy(&answer.body).contains("token"));
    }
    let two = format!(
        "GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nHost: evil.example\r\nConnection: close\r\n\r\n"
    );
    assert!(matches!(server.raw(two.as_bytes()).status, 400 | 421));
}

#[test]
fn changes_need_the_server_s_own_origin_and_token() {
    let server = Server::start();
    let (host, token) = (server.host(), server.token());
    let ask = |headers: &str| {
        let request = format!(
            "POST /api/work?name=x.pdf HTTP/1.1\r\nHost: {host}\r\nContent-Length: 8\r\n\
             Connection: close\r\n{headers}\r\n%PDF-1.4"
        );
        server.raw(request.as_bytes())
    };
    let own = format!("Origin: http://{host}\r\n");
    let key = format!("X-Tympan-Token: {token}\r\n");
    for headers in [
        String::new(),
        own.clone(),
        key.clone(),
        format!("Origin: http://evil.example\r\n{key}"),
        format!("Origin: null\r\n{key}"),
        format!("{own}X-Tympan-Token: {}\r\n", "0".repeat(32)),
        format!("{own}{key}Sec-Fetch-Site: cross-site\r\n"),
    ] {
        let answer = ask(&headers);
        assert_eq!(answer.status, 403, "{headers}");
        assert!(!answer.head.to_lowercase().contains("access-control"));
    }
    assert_eq!(server.works(), 0);
    assert_eq!(ask(&format!("{own}{key}")).status, 201);
    assert_eq!(server.works(), 1);
}

#[test]
fn every_answer_carries_the_headers_that_keep_others_out() {
    let server = Server::start();
    for path in [
        "/",
        "/nothing",
        "/assets/press.css",
        "/api/hello",
        "/api/nothing",
    ] {
        let head = server.get(path).head.to_lowercase();
        for header in [
            "content-security-policy: default-src 'none'",
            "x-content-type-options: nosniff",
            "cross-origin-resource-policy: same-origin",
            "cross-origin-opener-policy: same-origin",
            "cache-control: no-store",
        ] {
            assert!(head.contains(header), "{path} lacks {header}:\n{head}");
        }
        assert!(!head.contains("unsafe-inline") && !head.contains("access-control"));
    }
}

#[test]
fn paths_from_outside_open_nothing() {
    let server = Server::start();
    let id = server
        .post("/api/work?name=..%2F..%2Fetc%2Fpasswd", &pair_pdf())
        .json()["id"]
        .as_str()
        .expect("an id")
        .to_owned();
    server.job(&id);
    for path in [
        "/assets/../Cargo.toml",
        "/assets/%2e%2e/%2e%2e/Cargo.toml",
        "/assets/..%2f..%2fCargo.toml",
        "/assets//etc/passwd",
        "/work/..%2f..%2fdesk%2flock",
        "/api/work/../../lock",
        "/api/work/..%2F..%2F..%2Fetc",
        "/api/work/%00",
        &format!("/api/work/{id}/tile/7/1/1/0/0/print"),
        &format!("/api/work/{id}/tile/0/99/1/0/0/print"),
        &format!("/api/work/{id}/tile/0/1/1/4000000/0/print"),
        &format!("/api/work/{id}/tile/0/1/5/0/0/print"),
        &format!("/api/work/{id}/tile/..%2f0/1/1/0/0/print"),
        &format!("/api/work/{id}/saved"),
    ] {
        let answer = server.get(path);
        assert!(
            (400..500).contains(&answer.status),
            "{path}: {}",
            answer.status
        );
        let body = String::from_utf8_lossy(&answer.body);
        assert!(
            !body.contains("root:") && !body.contains("[package]"),
            "{path}"
        );
    }
    let page = server.get(&format!("/work/{id}"));
    assert!(String::from_utf8_lossy(&page.body).contains("<h1>passwd</h1>"));
}

#[test]
fn names_are_shown_as_text() {
    let server = Server::start();
    let answer = server.post(
        "/api/work?name=%3Cscript%3Ealert(1)%3C%2Fscript%3E.pdf",
        &pair_pdf(),
    );
    assert_eq!(answer.status, 201);
    let page = server.get("/");
    assert!(!String::from_utf8_lossy(&page.body).contains("<script>alert"));
}

#[test]
fn too_large_is_refused_before_it_arrives_and_while_it_arrives() {
    let mut server = Server::start();
    let head = server.head("/api/work?name=x.pdf", (1 << 30) + 1);
    let answer = server.raw(head.as_bytes());
    assert_eq!(answer.status, 413);
    assert_eq!(answer.message(), "this file is larger than 1 GB");
    assert_eq!(server.half_there().len(), 0);
    // Small answers do not take large questions.
    let answer = server.post("/api/work/aaaaaaaaaaaa/change", &vec![b' '; 100_000]);
    assert!(
        matches!(answer.status, 413 | 415 | 422),
        "{}",
        answer.status
    );
    assert!(server.is_alive());
}

fn wait_until(what: &str, mut is: impl FnMut() -> bool) {
    let began = Instant::now();
    while !is() {
        assert!(began.elapsed() < Duration::from_secs(20), "never: {what}");
        std::thread::sleep(Duration::from_millis(25));
    }
}

#[test]
fn an_upload_that_stops_or_breaks_off_leaves_nothing() {
    let server = Server::start();
    let head = server.head("/api/work?name=x.pdf", 1 << 20);
    let mut slow = server.connect();
    slow.write_all(head.as_bytes()).expect("sent");
    slow.write_all(&[b'x'; 1000]).expect("sent");
    let mut broken = server.connect();
    broken.write_all(head.as_bytes()).expect("sent");
    broken.write_all(&[b'x'; 100_000]).expect("sent");
    wait_until("both arrive", || server.half_there().len() == 2);
    drop(broken);
    wait_until("the broken one goes", || server.half_there().len() == 1);
    // The other brings nothing more: after its patience the server gives up.
    let mut answer = String::new();
    let _ = slow.read_to_string(&mut answer);
    assert!(answer.starts_with("HTTP/1.1 408"), "{answer}");
    assert_eq!(server.half_there().len(), 0);
    assert_eq!(server.works(), 0);
}

#[test]
fn an_upload_that_crawls_is_given_up() {
    let server = Server::start();
    let head = server.head("/api/work?name=x.pdf", 1 << 20);
    let mut slow = server.connect();
    slow.write_all(head.as_bytes()).expect("sent");
    let began = Instant::now();
    // A byte now and then is never silent for long.
    while slow.write_all(b"x").is_ok() && began.elapsed() < Duration::from_secs(15) {
        std::thread::sleep(Duration::from_millis(200));
        if server.half_there().is_empty() && began.elapsed() > Duration::from_secs(1) {
            break;
        }
    }
    assert!(began.elapsed() < Duration::from_secs(10));
    assert_eq!(server.half_there().len(), 0);
}

#[test]
fn a_flood_of_uploads_is_taken_or_refused_and_others_are_still_answered() {
    let mut server = Server::start();
    let head = server.head("/api/work?name=x.pdf", 8);
    let statuses: Vec<u16> = std::thread::scope(|scope| {
        let asking: Vec<_> = (0..200)
            .map(|_| {
                scope.spawn(|| {
                    let mut request = head.clone().into_bytes();
                    request.extend_from_slice(b"%PDF-1.4");
                    server.raw(&request).status
                })
            })
            .collect();
        assert_eq!(server.get("/").status, 200);
        asking
            .into_iter()
            .map(|asked| asked.join().expect("answered"))
            .collect()
    });
    assert!(
        statuses.iter().all(|s| matches!(s, 201 | 503)),
        "{statuses:?}"
    );
    let taken = statuses.iter().filter(|s| **s == 201).count();
    assert!(taken > 0);
    assert_eq!(server.works(), taken);
    assert_eq!(server.half_there().len(), 0);
    assert!(server.is_alive());
    assert_eq!(server.get("/").status, 200);
}

#[test]
fn killed_in_the_middle_of_an_upload_it_starts_again_clean() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut server = Server::start_on(folder.path());
    let kept = server.post("/api/work?name=kept.pdf", &pair_pdf());
    let id = kept.json()["id"].as_str().expect("an id").to_owned();
    server.job(&id);
    let mut upload = server.connect();
    upload
        .write_all(server.head("/api/work?name=x.pdf", 1 << 20).as_bytes())
        .expect("sent");
    upload.write_all(&[b'x'; 200_000]).expect("sent");
    wait_until("it arrives", || !server.half_there().is_empty());
    server.kill();
    assert_eq!(server.half_there().len(), 1, "it was cut off in the middle");
    let again = Server::start_on(folder.path());
    assert_eq!(again.half_there().len(), 0);
    assert_eq!(again.works(), 1);
    let page = again.get("/");
    assert!(String::from_utf8_lossy(&page.body).contains(">kept</a>"));
}

#[test]
fn a_second_program_on_the_same_desk_says_where_the_first_is() {
    let server = Server::start();
    let second = std::process::Command::new(program())
        .arg("--data")
        .arg(&server.data)
        .args(["serve", "--no-open"])
        .output()
        .expect("it runs");
    assert_eq!(second.status.code(), Some(1));
    let said = String::from_utf8_lossy(&second.stderr);
    assert!(said.contains(&server.address), "{said}");
}

#[test]
fn a_hostile_file_costs_only_the_child_that_reads_it() {
    let mut server = Server::start();
    let mut bad = pair_pdf();
    let middle = bad.len() / 2;
    bad.truncate(middle);
    for (name, bytes) in [
        ("half", bad),
        ("rubbish", vec![0xff; 50_000]),
        ("head only", b"%PDF-1.7\n".to_vec()),
    ] {
        let id = server.post("/api/work?name=bad.pdf", &bytes).json()["id"]
            .as_str()
            .expect("an id")
            .to_owned();
        let job = server.job(&id);
        assert!(
            job["state"] == "failed" || job["state"] == "done",
            "{name}: {job}"
        );
        let message = job["message"].as_str().unwrap_or_default();
        assert!(!message.contains("desk/work"), "{message}");
    }
    assert!(server.is_alive());
    assert_eq!(server.get("/").status, 200);
}

/// The page of a deck once it has been planned.
fn planned(server: &Server, id: &str) -> String {
    wait_until("the plan", || {
        let told = server.get(&format!("/api/deck/{id}")).json();
        told["ready"] == true && told["job"]["state"] != "running"
    });
    let page = server.get(&format!("/deck/{id}"));
    assert_eq!(page.status, 200);
    String::from_utf8_lossy(&page.body).into_owned()
}

#[test]
fn a_deck_reads_nothing_but_the_files_that_were_dropped() {
    let mut server = Server::start();
    let secret = server.data.join("secret.svg");
    let picture = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"63mm\" height=\"88mm\" \
                   viewBox=\"0 0 63 88\"><rect width=\"63\" height=\"88\" fill=\"#31708f\"/></svg>";
    std::fs::write(&secret, picture).expect("written");
    let begun = server.post(
        "/api/deck?name=..%2F..%2F%3Cb%3Eheron.svg&more=true",
        picture.as_bytes(),
    );
    assert_eq!(begun.status, 201);
    let id = begun.json()["id"].as_str().expect("an id").to_owned();
    // A list that names files that lie elsewhere, and pages of them.
    let list = format!(
        "front,back,name\n{0},,Secret\n../../secret.svg,,Up\n/etc/passwd,,Passwords\n\
         file://{0},,Address\n%2e%2e/secret.svg,,Coded\n",
        secret.display()
    );
    let name = format!("/api/deck/{id}/file?name=deck.csv");
    assert_eq!(server.post(&name, list.as_bytes()).status, 201);
    let page = planned(&server, &id);
    assert!(!page.contains("<b>heron"), "names are text");
    assert_eq!(page.matches("is not among the files").count(), 5, "{page}");
    for path in [
        format!("/api/deck/{id}/saved/0"),
        format!("/api/deck/{id}/saved/..%2f..%2fdeck.json"),
        format!("/api/deck/{id}/art/..%2f..%2fdeck.json/0"),
        format!("/api/deck/{id}/art/proof.pdf/4294967296"),
        format!("/api/deck/{id}/sheet/0/99/front"),
        format!("/api/deck/{id}/sheet/0/0/..%2f..%2fdeck"),
        format!("/api/deck/{id}/sheet/..%2f..%2fdeck/0/inside"),
        "/api/deck/..%2f..%2flock".to_owned(),
        "/deck/..%2f..%2flock".to_owned(),
        "/api/deck/%00".to_owned(),
    ] {
        let answer = server.get(&path);
        // 204: an older page asked for what is no longer there.
        let is_nothing = answer.status == 204 && answer.body.is_empty();
        // The proof and the stamp only tell older pictures from newer ones: the card itself comes.
        let is_card = path.contains("/art/..") && answer.head.contains("image/png");
        assert!(
            is_nothing || is_card || (400..500).contains(&answer.status),
            "{path}: {}",
            answer.status
        );
        let body = String::from_utf8_lossy(&answer.body);
        assert!(
            !body.contains("\"schema\"") && !body.contains("#31708f"),
            "{path}"
        );
    }
    // Choices that the page does not offer, and numbers that no deck has.
    for (what, body) in [
        ("change", r#"{"source":"/etc/passwd"}"#),
        ("change", r#"{"filler":"/etc/passwd"}"#),
        ("change", r#"{"back":"/etc/passwd"}"#),
        ("change", r#"{"stock-sheet":"/etc/passwd"}"#),
        ("change", r#"{"bleed":"99999999mm"}"#),
        ("change", r#"{"paper":"../../secret.svg"}"#),
        ("change", "[1, 2"),
        ("card", r#"{"number":1,"copies":100000}"#),
        ("card", r#"{"number":99,"copies":1}"#),
        ("card", r#"{"number":1,"file":"/etc/passwd"}"#),
        ("again", r#"{"cards":[[99,1]]}"#),
        ("again", r#"{"cards":[]}"#),
        ("work", ""),
    ] {
        let answer = server.post(&format!("/api/deck/{id}/{what}"), body.as_bytes());
        let page = planned(&server, &id);
        assert!(!page.contains("root:"), "{what} {body}");
        let refused = (400..500).contains(&answer.status);
        // A name that could be one of the files or sheets is told to be none.
        let told = page.contains("is not among the files") || page.contains("no pre-cut sheet");
        assert!(refused || told, "{what} {body}: {}", answer.status);
    }
    assert!(server.is_alive());
    assert_eq!(server.get("/").status, 200);
}
