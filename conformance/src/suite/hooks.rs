//! What the suite asks of the program around the machine: the object `$262`
//! (INTERPRETING.md, "Host-Defined Functions").
//!
//! It owns the two hooks that can be given: `global`, and `detachArrayBuffer`, which is
//! what `ArrayBuffer.prototype.transfer` does to the old buffer. Each of the others ends
//! the run with a note which one was asked for: no test can catch that and go on.

use scruple_vm::{Call, HostFunction, Layout, Raise, Value, Vm};

use super::run::Listener;

/// The object's name: only what mentions it gets it, for a global more could change
/// a test about globals.
pub const NAME: &str = "$262";

/// The script that makes the object. It has no line break: what stands behind it
/// keeps its lines.
pub const PRELUDE: &str = "var $262 = { global: this, \
    createRealm: function () { return $lackingHook('createRealm'); }, \
    detachArrayBuffer: function (buffer) { this.handOver(buffer); return null; }, \
    handOver: Function.prototype.call.bind(ArrayBuffer.prototype.transfer), \
    evalScript: function () { return $lackingHook('evalScript'); }, \
    gc: function () { return $lackingHook('gc'); }, \
    get agent() { return $lackingHook('agent'); }, \
    get IsHTMLDDA() { return $lackingHook('IsHTMLDDA'); }, \
    get AbstractModuleSource() { return $lackingHook('AbstractModuleSource'); } }; ";

/// The function behind the hooks that are not there.
pub(crate) fn functions<L: Layout>() -> [HostFunction<L, Listener>; 1] {
    [HostFunction { name: "$lackingHook", length: 1, call: lacking::<L> }]
}

fn lacking<L: Layout>(vm: &mut Vm<'_, L, Listener>, call: Call<L>) -> Result<Value<L>, Raise> {
    let mut name = String::new();
    let value = vm.arg(&call, 0);
    vm.write_text(value, &mut name)?;
    vm.host_mut().lacking = Some(format!("the host hook {name}"));
    Err(Raise::stop_run())
}
