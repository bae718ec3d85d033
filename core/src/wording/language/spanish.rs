//! Spanish words.
//!
//! Not yet read by anyone whose language it is: whoever is, please do, and take this line out.

use chrono::{Datelike, NaiveDate};

use super::{
    AnswerWords, Language, MailWords, ReceiptWords, RoundWords, SheetWords, TodoWords, Vocabulary,
};
use crate::orchard::{Part, TrapKind};
use crate::wording::caution::{LOCAL_AUTHORITY, Region};
use crate::wording::words::DateOrder;

pub(super) const WORDS: Vocabulary = Vocabulary {
    months: [
        "ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic",
    ],
    parts: ["feromona", "PPO", "cebo", "fondo pegajoso"],
    answer: ANSWER,
    round: ROUND,
    receipt: RECEIPT,
};

const ANSWER: AnswerWords = AnswerWords {
    form_begins: "llene detrás de los signos =, o escriba arriba de esta línea",
    mail_begins: "escriba su respuesta arriba de esta línea",
    form_ends: "aquí termina el correo",
    foot: [
        "Una trampa por línea: N1-E1 12. Lo que se cambió: cebo, feromona, ppo, fondo. No se pudo leer: mojada, perdida, llena. Huevos que quedan puestos: quedan.",
        "Machos y hembras: 4m 2h. Todas las trampas de un bloque en este orden: N1 12 0 0 3 -. Una nota: # y palabras. Otro día en una línea aparte: 20 jun, ayer.",
        "De un bloque: N1 apertura Nonpareil, N1 sacudir Nonpareil 20 ago, N1 cerrado hasta 24 jun. Para anular una respuesta: deshacer.",
    ],
    eggs: &["huevos", "huevo", "huevecillos"],
    moths: &["palomillas", "palomilla"],
    males: &["m", "machos", "macho"],
    females: &["h", "hembras", "hembra"],
    left: &["quedan", "queda", "quedaron", "dejados"],
    unreadable: &[
        "mojada", "perdida", "llena", "mojado", "perdido", "lleno", "rota", "tirada", "dañada",
        "falta", "ilegible",
    ],
    parts: [
        &["feromona", "señuelo", "feromonas"],
        &["ppo"],
        &["cebo", "cebos"],
        &["fondo", "fondo pegajoso", "lámina", "lámina pegajosa"],
    ],
    filler: &["y", "con"],
    changed: &["nuevo", "nueva", "cambiado", "cambiada", "cambio", "cambié"],
    found: &["estaba", "está"],
    yesterday: &["ayer"],
    today: &["hoy"],
    beside_day: &["el", "de", "del", "día", "fecha", "leído"],
    months: [
        "enero",
        "febrero",
        "marzo",
        "abril",
        "mayo",
        "junio",
        "julio",
        "agosto",
        "septiembre",
        "octubre",
        "noviembre",
        "diciembre",
    ],
    weekdays: [
        "lunes",
        "martes",
        "miércoles",
        "jueves",
        "viernes",
        "sábado",
        "domingo",
    ],
    split: &["apertura", "hendidura"],
    shake: &["sacudir", "sacudida"],
    shaken: &["sacudido", "sacudidos", "ya sacudido"],
    closed_until: &["cerrado hasta", "cerrada hasta"],
    undo: &["deshacer", "anular"],
    sure: &["seguro", "segura"],
    hold: &["retener"],
    release: &["soltar", "liberar"],
    note: &["nota"],
    start: &["inicio"],
    because: &["porque"],
    courtesy: &[
        "gracias",
        "por favor",
        "hola",
        "buenos días",
        "buenas tardes",
        "saludos",
        "atentamente",
    ],
};

const ROUND: RoundWords = RoundWords {
    long_day,
    kind,
    parts,
    traps: |count| counted(count, "trampa"),
    gate: "portón",
    row: "hilera",
    tree: "árbol",
    route: |route| format!("Ruta {route}"),
    no_route: "Sin ruta",
    to: "a",
    todo: TodoWords {
        due: "toca leerla",
        due_since: |day| format!("toca leerla desde el {day}"),
        due_on: |day| format!("toca leerla el {day}"),
        optional: "lectura opcional: ya se abren nueces sanas",
        count_before: "no toca leerla; cuente antes de cambiar",
        eggs_left: |eggs| match eggs {
            1 => "cuente con los demás el huevo que se dejó".to_owned(),
            eggs => format!("cuente con los demás los {eggs} huevos que se dejaron"),
        },
        change: |part| format!("cambiar {part}"),
        life_ended: |day| format!("venció el {day}"),
        lasts_until: |day| format!("dura hasta el {day}"),
        no_entry: |day| format!("cerrado: no entrar hasta el {day}"),
        waiting: |traps| format!("esperan hasta entonces: {traps}"),
        check_posting: "lea el letrero de entrada",
        down: |day, traps| format!("descolgadas desde el {day}: {traps}"),
        no_clock: |part, traps| {
            format!("no hay {part} declarado para {traps}: no se sabe si toca cambiarlo")
        },
        bring: "llevar",
    },
    mail: MailWords {
        round: |route| match route {
            "" => "ronda".to_owned(),
            route => format!("ronda {route}"),
        },
        of: |name| format!("La ronda de {name}"),
        no_entry: |day, block| format!("No entrar hasta el {day}: {block}"),
        wait: |count| match count {
            1 => "espera 1 trampa".to_owned(),
            count => format!("esperan {count} trampas"),
        },
        bring: "Llevar",
        postings: "Lea el letrero de cada bloque antes de entrar.",
        last: |count, day| format!("última: {count} el {day}"),
        last_unreadable: |day| format!("última: no se pudo leer el {day}"),
        ask: |name| format!("Pregunte a {name}, teléfono"),
        sending: "Llega las mañanas en que toca leer o cambiar algo en esta ruta.",
        caution,
    },
    sheet: SheetWords {
        sheets: "Hojas de ronda",
        read_by: "leído por",
        read_on: "el",
        heads: [
            "Portón", "Hilera", "Árbol", "Trampa", "Cuenta", "Cambiado", "Nota",
        ],
        columns: ["bloque", "lugar", "trampa", "tipo", "qué"],
        counts: |column| {
            let said = match column {
                "eggs" => "huevos",
                "moths" => "palomillas",
                "males" => "machos",
                "females" => "hembras",
                other => other,
            };
            said.to_owned()
        },
        not_readable: "no se pudo leer",
        eggs_left_on: "huevos dejados",
        change: "cambiar",
        nothing_due: "no toca nada",
        nothing_due_sentence: "No toca nada en las trampas a las que se puede ir.",
        how: "Vacío quiere decir no leída; escriba 0 donde la trampa se leyó y no tenía nada. Marque «no se pudo leer» \
              en una trampa mojada, perdida o tapada, «huevos dejados» donde no se quitaron. Quien entra se atiene al \
              letrero del bloque, diga lo que diga esta hoja.",
    },
};

fn long_day(day: NaiveDate, order: DateOrder) -> String {
    let month = ANSWER.months[day.month0() as usize];
    let weekday = ANSWER.weekdays[day.weekday().num_days_from_monday() as usize];
    match order {
        DateOrder::Iso => day.to_string(),
        DateOrder::MonthDay | DateOrder::DayMonth => {
            format!("{weekday}, {} de {month} de {}", day.day(), day.year())
        }
    }
}

const fn kind(kind: TrapKind) -> &'static str {
    match kind {
        TrapKind::Egg => "huevos",
        TrapKind::Pheromone => "feromona",
        TrapKind::PheromonePpo => "feromona + PPO",
        TrapKind::BaitBag => "bolsa de cebo",
    }
}

fn parts(count: usize, of: Part) -> String {
    let part = Language::Spanish.part(of);
    match of {
        Part::Ppo => format!("{count} {part}"),
        // Both words of it have a plural.
        Part::Liner if count != 1 => format!("{count} fondos pegajosos"),
        _ => counted(count, part),
    }
}

fn counted(count: usize, what: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {what}{plural}")
}

/// The caution that every mail carries.
fn caution(authority: &str) -> String {
    let to_ask = match authority {
        LOCAL_AUTHORITY => "a su autoridad local".to_owned(),
        // `a` and `el` are one word.
        known if known == Region::California.authority() => {
            "al comisionado agrícola del condado".to_owned()
        }
        other => format!("a {other}"),
    };
    format!(
        "Solo información y proyección, con datos de una estación meteorológica y cuentas anotadas; no es una \
         recomendación de plaguicida. Vea el bloque. Las decisiones son del productor y de un asesor con licencia. La \
         etiqueta es la ley: intervalos antes de la cosecha y de reentrada, dosis, abejas. Pregunte {to_ask} por \
         permisos y reglas locales."
    )
}

const RECEIPT: ReceiptWords = ReceiptWords {
    subject: "lo que trajo su respuesta",
    heading: "Lo que se hizo con su respuesta,",
    answer_of: "Respuesta del",
    stored: "Anotado",
    nothing_stored: "No se anotó nada.",
    unclear: "No se entendió y no se anotó",
    probably: "quizá quiso decir",
    asked: "Se pregunta, y no se anota hasta que lo confirme",
    say_sure: "Si está bien así, conteste con la palabra: seguro",
    done: "Hecho",
    not_done: "No se hizo",
    would: "Lo que dicen estas lecturas, se avisa mañana",
    correct: "Para corregir una línea, conteste solo con esa línea como debe ser. Para anular toda la respuesta, conteste: deshacer",
    counts: [
        ["huevo", "huevos"],
        ["palomilla", "palomillas"],
        ["macho", "machos"],
        ["hembra", "hembras"],
    ],
    unreadable: "no se pudo leer",
    eggs_left: "quedan puestos",
    changed: "se cambió",
    was: "antes",
    first_reading: "primera lectura",
    corrected: "corregido, decía",
    stood: "ya estaba",
    unusual: "hasta ahora a lo más",
    sum: "en total",
    traps: "trampas",
    other_person: "tiene otra cuenta ahí, de",
    no_day: "¿de qué día es? escriba el día en una línea aparte encima",
    undone: "Se anuló la respuesta anterior; vale otra vez lo que había antes.",
    nothing_to_undo: "No hay respuesta que se pueda anular.",
    nothing_asked: "Nada espera esa palabra.",
    no_proof_set: "eso se acepta por correo solo si el servidor que recibe está nombrado en la configuración (inbox.verified_by)",
    not_proved: "el servidor que recibe no comprobó que el correo sea suyo",
    not_yours: "solo un asesor de estos bloques puede hacerlo",
    too_long: "la respuesta es más larga de lo que se lee; mande el resto en otra",
    no_such_name: "ninguna trampa ni bloque suyo tiene ese nombre",
    no_such_day: "el día está por venir, o hace demasiado",
    twice: "está dos veces con cuentas distintas: mande la que vale",
    nobody_reads: "no es una lectura, y nadie lee este buzón: llame a quien nombra el correo",
    not_understood: "no se entendió",
};
