//! What the program around the machine holds while a script of its runs.

use scruple_conformance::Quiet;
use scruple_vm::{HeapOptions, Narrow, Options, Vm};

/// ECMA-262, OrdinaryToPrimitive: `toString` gives an object, so `valueOf` is asked, on the
/// same object. No block may move between the two, whoever asks.
#[test]
fn a_value_is_converted_for_the_host_while_scripts_make_garbage() {
    let source = "
        function make() { const made = []; for (let i = 0; i < 20; i++) made.push('made ' + i); return made; }
        make();
        globalThis.gate = {
          toString() { make(); make(); return {}; },
          valueOf() { make(); return this.name; },
          name: 'gate ' + 2
        };";
    let image = scruple_compiler::compile(source, &Default::default()).expect("a script").image;
    for collect_every in [usize::MAX, 64, 0] {
        let heap = HeapOptions { collect_every, thorough: true, ..HeapOptions::default() };
        let options = Options { heap, ..Options::default() };
        let mut region = vec![0u32; 6000];
        let mut vm: Vm<'_, Narrow, Quiet> = Vm::new(&mut region, Quiet::default(), options);
        vm.load(&image).expect("an image of ours");
        vm.run().expect("the script ends");
        let gate = vm.global("gate").expect("a global");
        let mut text = String::new();
        vm.attempt(|vm| vm.write_text(gate, &mut text)).expect("a text");
        assert_eq!(text, "gate 2", "collecting every {collect_every} bytes");
    }
}
