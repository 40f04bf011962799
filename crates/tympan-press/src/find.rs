//! Finding printers on the network (DNS-SD over multicast DNS: RFC 6762, RFC 6763).

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::time::{Duration, Instant};

use mdns_sd::{ResolvedService, ServiceDaemon, ServiceEvent};
use serde::Serialize;

/// Plain and encrypted IPP (RFC 8011, PWG 5100.14).
const KINDS: [&str; 2] = ["_ipp._tcp.local.", "_ipps._tcp.local."];

/// A printer that makes itself known on the network.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Found {
    /// The name that it goes by.
    pub name: String,
    /// Its address.
    pub address: Option<String>,
    /// Its address for encrypted printing.
    pub secure_address: Option<String>,
    /// Make and model.
    pub model: String,
    /// Where it stands, as somebody wrote into it.
    pub place: String,
    /// Kinds of file that it takes.
    pub formats: Vec<String>,
}

/// Why no printers could be looked for.
#[derive(Debug, thiserror::Error)]
#[error("printers cannot be looked for on the network: {0}")]
pub struct FindError(String);

impl FindError {
    /// What to do instead.
    pub fn hint(&self) -> &'static str {
        "give the printer's address; its display or its network page shows it"
    }
}

/// Looks for printers for so long. Ends as soon as one with the name `until` is there, in full.
///
/// # Errors
/// [`FindError`] where the network cannot be listened to.
pub fn printers(time: Duration, until: Option<&str>) -> Result<Vec<Found>, FindError> {
    let fault = |e: mdns_sd::Error| FindError(e.to_string());
    let daemon = ServiceDaemon::new().map_err(fault)?;
    let mut browsers = Vec::new();
    for kind in KINDS {
        browsers.push(daemon.browse(kind).map_err(fault)?);
    }
    let mut found: BTreeMap<String, Found> = BTreeMap::new();
    let end = Instant::now() + time;
    let mut is_there = None;
    while Instant::now() < end {
        for (kind, browser) in KINDS.iter().zip(&browsers) {
            while let Ok(event) = browser.try_recv() {
                if let ServiceEvent::ServiceResolved(service) = event {
                    take(&mut found, kind, &service);
                }
            }
        }
        if is_there.is_none() && until.is_some_and(|name| has(&found, name)) {
            is_there = Some(Instant::now());
        }
        // Its other address comes a little later.
        if is_there.is_some_and(|since: Instant| since.elapsed() > Duration::from_millis(300)) {
            break;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    // Nothing depends on how it ends.
    let _ = daemon.shutdown();
    Ok(found.into_values().collect())
}

fn has(found: &BTreeMap<String, Found>, name: &str) -> bool {
    found.values().any(|f| f.name.eq_ignore_ascii_case(name))
}

fn take(found: &mut BTreeMap<String, Found>, kind: &str, service: &ResolvedService) {
    let name = service.fullname.strip_suffix(&format!(".{kind}"));
    let name = name.unwrap_or(&service.fullname).to_owned();
    let property = |key: &str| {
        let value = service.txt_properties.get_property_val_str(key);
        value.unwrap_or_default().to_owned()
    };
    let mut addresses: Vec<IpAddr> = service
        .addresses
        .iter()
        .map(|address| address.to_ip_addr())
        .filter(|address| match address {
            IpAddr::V4(_) => true,
            // A link-local address means nothing without the interface.
            IpAddr::V6(v6) => !v6.is_unicast_link_local(),
        })
        .collect();
    addresses.sort();
    let host = match addresses.first() {
        Some(IpAddr::V4(v4)) => v4.to_string(),
        Some(IpAddr::V6(v6)) => format!("[{v6}]"),
        None => service.host.trim_end_matches('.').to_owned(),
    };
    let path = match property("rp") {
        path if path.is_empty() => "ipp/print".to_owned(),
        path => path.trim_start_matches('/').to_owned(),
    };
    let is_secure = kind.starts_with("_ipps");
    let scheme = if is_secure { "ipps" } else { "ipp" };
    let address = format!("{scheme}://{host}:{}/{path}", service.port);
    let entry = found.entry(name.clone()).or_insert_with(|| Found {
        name,
        address: None,
        secure_address: None,
        model: property("ty"),
        place: property("note"),
        formats: property("pdl")
            .split(',')
            .filter(|format| !format.is_empty())
            .map(str::to_owned)
            .collect(),
    });
    let slot = if is_secure {
        &mut entry.secure_address
    } else {
        &mut entry.address
    };
    *slot = Some(address);
}
