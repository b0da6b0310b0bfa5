// SPDX-License-Identifier: Apache-2.0
//
// Asks a network about pictures by ONNX Runtime, to compare with.
//
//   node ask.js NETWORK.onnx FOLDER
//
// For each FOLDER/NAME.SIDE.picture (little-endian float32, channels x SIDE x
// SIDE) writes FOLDER/NAME.SIDE.OUTPUT for each output of the network.
'use strict';
const fs = require('fs');
const path = require('path');
const ort = require('onnxruntime-node');

async function main(network, folder) {
  const session = await ort.InferenceSession.create(
    network, {intraOpNumThreads: 2, logSeverityLevel: 3});
  const [input] = session.inputNames;
  const pictures =
    fs.readdirSync(folder).filter((name) => name.endsWith('.picture'));
  for (const picture of pictures) {
    const stem = picture.slice(0, -'.picture'.length);
    const side = Number(stem.split('.').pop());
    const bytes = fs.readFileSync(path.join(folder, picture));
    // A copy: a Float32Array must begin at a multiple of four bytes.
    const values = new Float32Array(new Uint8Array(bytes).buffer);
    const channels = values.length / (side * side);
    const results = await session.run(
      {[input]: new ort.Tensor('float32', values, [1, channels, side, side])});
    for (const [name, tensor] of Object.entries(results)) {
      const {buffer, byteOffset, byteLength} = tensor.data;
      fs.writeFileSync(
        path.join(folder, `${stem}.${name}`),
        Buffer.from(buffer, byteOffset, byteLength));
    }
  }
}

main(...process.argv.slice(2)).catch((error) => {
  console.error(error);
  process.exitCode = 1;
});
