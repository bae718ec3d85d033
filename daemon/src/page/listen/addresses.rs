//! The addresses at which to listen.

use std::collections::BTreeSet;
use std::net::{IpAddr, SocketAddr};

use crate::config::{Listen, Place};

/// The address declared, or all that the interface has now.
///
/// # Errors
/// In words: the machine's interfaces cannot be listed, or that one has no address.
pub(super) fn of(listen: &Listen) -> Result<BTreeSet<SocketAddr>, String> {
    let name = match &listen.place {
        Place::Address(address) => return Ok([SocketAddr::new(*address, listen.port)].into()),
        Place::Interface(name) => name,
    };
    let all = if_addrs::get_if_addrs()
        .map_err(|error| format!("the interfaces of this machine cannot be listed: {error}"))?;
    let at = |address| SocketAddr::new(address, listen.port);
    let found = all.iter().filter(|interface| interface.name == *name);
    let found = found.map(|interface| interface.ip()).filter(is_reachable);
    let found: BTreeSet<SocketAddr> = found.map(at).collect();
    if found.is_empty() {
        let names: BTreeSet<&str> = all.iter().map(|interface| &*interface.name).collect();
        let names = names.into_iter().collect::<Vec<_>>().join(", ");
        return Err(format!(
            "this machine has no interface {name} with an address; those with one are {names}"
        ));
    }
    Ok(found)
}

/// No browser can be given an IPv6 address of one link only, which needs the name of an interface beside it.
fn is_reachable(address: &IpAddr) -> bool {
    match address {
        IpAddr::V4(_) => true,
        IpAddr::V6(address) => !address.is_unicast_link_local(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_loopback_interface_has_its_addresses_and_one_that_is_not_there_none() {
        let listen = |place| Listen { place, port: 8790 };
        let found = of(&listen(Place::Interface("lo".to_owned()))).unwrap();
        assert!(
            found.contains(&"127.0.0.1:8790".parse().unwrap()),
            "{found:?}"
        );
        let why = of(&listen(Place::Interface("none0".to_owned()))).unwrap_err();
        assert!(
            why.contains("no interface none0") && why.contains("lo"),
            "{why}"
        );
        let one = of(&listen(Place::Address("192.168.7.4".parse().unwrap()))).unwrap();
        assert_eq!(one, ["192.168.7.4:8790".parse().unwrap()].into());
    }
}
