//! `tympan print`: a PDF straight on a printer.

use std::io::{self, IsTerminal};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use serde::Serialize;
use tympan_app::print::{
    self, Access, Address, Ending, Happening, Outcome, Patience, Plan, Printer, PrinterError,
    Printers, Request, Span, Watch,
};
use tympan_app::{Refusal, files};

use crate::args::{Cli, Print};
use crate::say;

pub(crate) fn run(cli: &Cli, args: &Print) -> Result<(), Refusal> {
    if args.list {
        return list(cli);
    }
    let address = print::locate(args.printer.as_deref().unwrap_or_default())?;
    let printer = open(cli, args, &address)?;
    let Some(file) = &args.file else {
        return abilities(cli, &printer);
    };
    let store = args
        .setup
        .is_some()
        .then(|| super::store(cli))
        .transpose()?;
    let plan = print::plan(store.as_ref(), &request(args, file), &printer)?;
    if args.plan {
        return match cli.json {
            true => say::json(&Answer::of_plan(&plan)),
            false => say::data(&in_words(&plan)),
        };
    }
    agree(args, &plan)?;
    let cancel = cancel_on_ctrl_c()?;
    let mut plan = plan;
    loop {
        let outcome = print_once(args, &printer, &plan, &cancel)?;
        if plan.run().is_some() {
            noted(cli, &plan, &outcome);
        }
        match go_on(args, &outcome, &cancel) {
            Some(sheet) => plan = plan.from_sheet(sheet),
            None => return told(cli, &plan, &outcome),
        }
    }
}

fn request(args: &Print, file: &Path) -> Request {
    let from = |first| Span { first, last: None };
    Request {
        file: file.to_owned(),
        password: args.password.clone(),
        sheets: args.sheets.or(args.from_sheet.map(from)),
        paper: args.paper.clone(),
        sides: args.sides.into(),
        source: args.source.clone(),
        kind: args.kind.clone(),
        quality: args.quality.map(Into::into),
        output_bin: args.output_bin.clone(),
        grey: args.grey,
        as_raster: args.as_raster,
        setup: args.setup.clone(),
    }
}

/// Puts it into the log of the run. Where that fails, the paper is printed all the same.
fn noted(cli: &Cli, plan: &Plan, outcome: &Outcome) {
    let noted = super::store(cli).and_then(|mut store| print::note(&mut store, plan, outcome));
    if let Err(refusal) = noted {
        say::note(&format!(
            "note: this is not in the run's log: {}",
            refusal.message
        ));
    }
}

#[derive(Serialize)]
struct Answer<'a> {
    schema: u32,
    printed: bool,
    plan: &'a Plan,
    #[serde(skip_serializing_if = "Option::is_none")]
    outcome: Option<&'a Outcome>,
}

impl<'a> Answer<'a> {
    fn of_plan(plan: &'a Plan) -> Self {
        Self {
            schema: 1,
            printed: false,
            plan,
            outcome: None,
        }
    }
}

fn list(cli: &Cli) -> Result<(), Refusal> {
    let all = print::printers()?;
    if cli.json {
        #[derive(Serialize)]
        struct List {
            schema: u32,
            #[serde(flatten)]
            all: Printers,
        }
        return say::json(&List { schema: 1, all });
    }
    let mut text = String::new();
    for found in &all.found {
        text.push_str(&format!("{}\n", found.name));
        for address in [&found.address, &found.secure_address]
            .into_iter()
            .flatten()
        {
            text.push_str(&format!("  {address}\n"));
        }
        for more in [&found.model, &found.place] {
            if !more.is_empty() && *more != found.name {
                text.push_str(&format!("  {more}\n"));
            }
        }
    }
    for queue in &all.queues {
        text.push_str(&format!(
            "{} (a queue of this machine)\n  {}\n",
            queue.name, queue.address
        ));
    }
    if text.is_empty() {
        text.push_str(
            "No printer makes itself known. Switch it on and see that it is on the same network, \
             or give its address to --printer.",
        );
    }
    say::data(text.trim_end())
}

fn abilities(cli: &Cli, printer: &Printer) -> Result<(), Refusal> {
    if cli.json {
        #[derive(Serialize)]
        struct Has<'a> {
            schema: u32,
            address: String,
            abilities: &'a print::Abilities,
        }
        return say::json(&Has {
            schema: 1,
            address: printer.address().uri(),
            abilities: &printer.abilities,
        });
    }
    let lines = print::abilities_in_words(&printer.abilities);
    say::data(&format!(
        "{} ({})\n  {}",
        printer.abilities.name,
        printer.address(),
        lines.join("\n  ")
    ))
}

/// Opens the printer, asking a person about its certificate and password where there is one to
/// ask.
fn open(cli: &Cli, args: &Print, address: &Address) -> Result<Printer, Refusal> {
    let mut access = Access {
        user: None,
        certificate: args.certificate,
    };
    if let Some(user) = &args.user {
        access.user = Some((user.clone(), password(args, address)?));
    }
    let patience = Patience {
        answer: Duration::from_secs(args.patience.clamp(2, 30)),
        connect: Duration::from_secs(args.patience.clamp(2, 10)),
        ..Patience::default()
    };
    let mut asked = false;
    loop {
        match print::open(&cli.data, address, access.clone(), patience) {
            Ok(printer) => {
                if let Some(certificate) = access.certificate
                    && (asked || args.certificate.is_some())
                {
                    print::remember(&cli.data, address, certificate)?;
                }
                return Ok(printer);
            }
            Err(PrinterError::UnknownCertificate { place, shown })
                if !asked && io::stdin().is_terminal() =>
            {
                say::note(&format!(
                    "The printer at {place} shows a certificate that is not known here:\n  {shown}\n\
                     Compare it with the one on the printer's own page or display if it shows one."
                ));
                if say::ask("Take this certificate from now on? Type yes: ")? != "yes" {
                    return Err(PrinterError::UnknownCertificate { place, shown }.into());
                }
                access.certificate = Some(shown);
                asked = true;
            }
            Err(e) => return Err(e.into()),
        }
    }
}

/// The printer's password, from its file or from the terminal.
fn password(args: &Print, address: &Address) -> Result<String, Refusal> {
    if let Some(file) = &args.password_file {
        let text = files::read_text(file)?;
        return Ok(text.lines().next().unwrap_or_default().to_owned());
    }
    if !io::stdin().is_terminal() {
        return Err(Refusal::new(
            "the printer's password is missing",
            "give it in a file with --password-file",
        ));
    }
    rpassword::prompt_password(format!("Password at {}: ", address.place())).map_err(|e| {
        Refusal::new(
            format!("the password cannot be read: {e}"),
            "give it in a file with --password-file",
        )
    })
}

/// Goes on only with an explicit yes.
fn agree(args: &Print, plan: &Plan) -> Result<(), Refusal> {
    for caution in &plan.cautions {
        say::note(&format!("note: {caution}"));
    }
    if args.yes {
        return Ok(());
    }
    say::note(&in_words(plan));
    if !io::stdin().is_terminal() {
        return Err(Refusal::new(
            "nothing was printed, since nobody said yes",
            "look at the plan above (--plan shows it again); a script gives --yes",
        ));
    }
    match say::ask("Print? Type yes: ")?.as_str() {
        "yes" => Ok(()),
        _ => Err(Refusal::new(
            "nothing was printed",
            "type yes in full to print",
        )),
    }
}

fn cancel_on_ctrl_c() -> Result<Arc<AtomicBool>, Refusal> {
    let cancel = Arc::new(AtomicBool::new(false));
    let flag = Arc::clone(&cancel);
    let set = ctrlc::set_handler(move || {
        // Pressed again, it ends at once, as usual.
        if flag.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
    });
    match set {
        Ok(()) => Ok(cancel),
        Err(e) => Err(Refusal::new(
            format!("Ctrl-C could not be made to cancel the job: {e}"),
            "try again",
        )),
    }
}

fn print_once(
    args: &Print,
    printer: &Printer,
    plan: &Plan,
    cancel: &AtomicBool,
) -> Result<Outcome, Refusal> {
    let first = plan.first_sheet;
    let last = plan.last_sheet;
    let mut tell = |happening: &Happening| {
        let is_passing = matches!(happening, Happening::Sheets { .. });
        if is_passing {
            if let Happening::Sheets { out, .. } = happening {
                let at = (first + out).saturating_sub(1);
                let text = format!("sheet {at} of {last} is out");
                say::passing(&text, first + out > last);
            }
        } else {
            say::note(&print::happens_in_words(happening));
        }
    };
    let mut watch = Watch {
        tell: &mut tell,
        cancel,
        patience: Duration::from_secs(args.patience),
        // With nobody to ask, nobody may be there to load paper.
        mend_within: args.yes.then(|| Duration::from_secs(args.patience)),
    };
    print::print(printer, plan, &mut watch)
}

/// After a fault, on a terminal: the sheet to go on with, as a person says.
fn go_on(args: &Print, outcome: &Outcome, cancel: &AtomicBool) -> Option<usize> {
    let next = outcome.go_on_from?;
    let may_ask = io::stdin().is_terminal() && !args.yes && !cancel.load(Ordering::Relaxed);
    if outcome.ended == Ending::Cancelled || !may_ask {
        return None;
    }
    say::note(&print::ended_in_words(outcome));
    say::note(&format!(
        "Mend the printer, count the good sheets in the tray, and load stock for the rest. By the \
         printer's count the next sheet is {next}."
    ));
    let answer = say::ask("Go on with which sheet? (a number, or nothing to stop): ").ok()?;
    let sheet: usize = answer.parse().ok()?;
    (outcome.first_sheet..=outcome.last_sheet)
        .contains(&sheet)
        .then_some(sheet)
}

fn told(cli: &Cli, plan: &Plan, outcome: &Outcome) -> Result<(), Refusal> {
    let printed = outcome.ended == Ending::Printed;
    if cli.json {
        say::json(&Answer {
            schema: 1,
            printed,
            plan,
            outcome: Some(outcome),
        })?;
    }
    if printed {
        for said in &outcome.said {
            say::note(said);
        }
        if !cli.json {
            let s = if plan.sheets() == 1 { " is" } else { "s are" };
            say::data(&format!(
                "{} sheet{s} printed. Measure the 100 mm check rule on the first one.",
                plan.sheets()
            ))?;
        }
        return Ok(());
    }
    let hint = match outcome.go_on_from {
        Some(sheet) if outcome.sheets_out.is_some() => format!(
            "count the good sheets in the tray; by the printer's count, go on with --from-sheet \
             {sheet}"
        ),
        _ => "the printer does not count sheets: count them in the tray, and go on with \
              --from-sheet"
            .to_owned(),
    };
    let refusal = Refusal::new(print::ended_in_words(outcome), hint);
    if cli.json {
        say::refusal(&refusal);
        return Err(Refusal::said_already());
    }
    Err(refusal)
}

/// The plan as it is shown before the yes.
fn in_words(plan: &Plan) -> String {
    let sheets = plan.sheets();
    let s = if sheets == 1 { "" } else { "s" };
    let mut lines = vec![format!(
        "Print {sheets} sheet{s} on {} ({})",
        plan.printer, plan.address
    )];
    let told = print::plan_in_words(plan);
    lines.extend(
        told.iter()
            .map(|(about, line)| format!("  {about:<8} {line}")),
    );
    lines.push(format!("  at stake {}", plan.at_stake));
    if sheets > 1 {
        let first = plan.first_sheet;
        lines.push(format!(
            "If anything is new since the last time, print one sheet first (--sheets {first}) and \
             measure its 100 mm check rule."
        ));
    }
    lines.join("\n")
}
