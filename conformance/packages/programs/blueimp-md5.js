var md5 = require('blueimp-md5/js/md5');
['', 'a', 'abc', 'message digest', 'abcdefghijklmnopqrstuvwxyz',
  'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789',
  '12345678901234567890123456789012345678901234567890123456789012345678901234567890'
].forEach(function (text) { console.log(md5(text)); });
var text = 'h\u00e9 \u2603';
for (var i = 0; i < 8; i++) { console.log(md5(text), md5(text, 'key' + i)); text += text; }
