// The modules of a program: `commonjs.define` takes a file's text as a function's
// body, `commonjs.start` runs the first of them. Told in `commonjs.rs`.
var commonjs = (function () {
  var bodies = Object.create(null);
  var modules = Object.create(null);

  // The file that a path from a folder means: as it is, with `.js`, or its index.
  function resolve(folder, name) {
    if (name[0] === '.') {
      var steps = folder;
      var parts = name.split('/');
      for (var i = 0; i < parts.length; i++) {
        if (parts[i] === '..') {
          if (steps.length === 0) return undefined;
          steps = steps.slice(0, -1);
        } else if (parts[i] !== '.' && parts[i] !== '') {
          steps = steps.concat(parts[i]);
        }
      }
      name = steps.join('/');
    }
    var ends = ['', '.js', name === '' ? 'index.js' : '/index.js'];
    for (var j = 0; j < ends.length; j++) {
      if (name + ends[j] in bodies) return name + ends[j];
    }
    return undefined;
  }

  function load(path) {
    if (path in modules) return modules[path].exports;
    var module = { id: path, exports: {} };
    modules[path] = module;
    var folder = path.split('/').slice(0, -1);
    function require(name) {
      var found = resolve(folder, name);
      if (found === undefined) throw new Error("Cannot find module '" + name + "'");
      return load(found);
    }
    bodies[path].call(module.exports, module, module.exports, require);
    return module.exports;
  }

  return {
    define: function (path, body) { bodies[path] = body; },
    start: function (path) { load(path); }
  };
})();
