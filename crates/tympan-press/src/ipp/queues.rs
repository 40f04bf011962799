//! Queues of the print service on this machine.

use std::time::Duration;

use ipp::prelude::{IppValue, Operation};
use serde::Serialize;

use super::answer::PRINTER;
use super::client::{Client, granted, keyword};
use super::{Access, Address, Patience};

/// A queue of the print service on this machine.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Queue {
    /// Its name.
    pub name: String,
    /// Its address.
    pub address: String,
    /// What it stands for.
    pub info: String,
    /// Where it sends to, where that may be known.
    pub device: Option<String>,
}

/// The queues of this machine's print service; none where there is no such service.
pub fn queues() -> Vec<Queue> {
    let Ok(address) = "ipp://localhost:631/".parse::<Address>() else {
        return Vec::new();
    };
    let quick = Duration::from_secs(3);
    let patience = Patience {
        connect: quick,
        answer: quick,
        stall: quick,
    };
    let client = Client::new(address, Access::default(), patience).at_path("/");
    let mut request = client.request(Operation::CupsGetPrinters);
    let wanted = ["printer-name", "printer-info", "device-uri"];
    let wanted = wanted.into_iter().map(keyword).collect();
    request.operation("requested-attributes", IppValue::Array(wanted));
    let Ok(answer) = client.ask(&request).and_then(granted) else {
        return Vec::new();
    };
    let queue = |printer: &super::Attributes| {
        let name = printer.text("printer-name")?.to_owned();
        Some(Queue {
            address: format!("ipp://localhost:631/printers/{name}"),
            info: printer.text("printer-info").unwrap_or_default().to_owned(),
            device: printer.text("device-uri").map(str::to_owned),
            name,
        })
    };
    answer.groups_of(PRINTER).filter_map(queue).collect()
}
