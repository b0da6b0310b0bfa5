// SPDX-License-Identifier: Apache-2.0
// Asking the server, and what it refuses.

/** What the server, or the way to it, didn't do. */
export class Refused extends Error {
  constructor(status, refused, answer) {
    super([refused.message, refused.remedy].filter(Boolean).join(' '));
    this.status = status;
    this.code = refused.code;
    this.answer = answer;
  }
}

/** The way to the server is lost: what was asked can be asked again. */
export class NoWay extends Error {
  constructor() {
    super('The way to the laptop is lost.');
  }
}

async function read(response) {
  const type = response.headers.get('content-type') || '';
  if (response.status === 403 && !type.includes('json')) {
    throw new Refused(403, {
      code: 'locked',
      message: 'The page is locked again: the program was started anew.',
      remedy: 'Open the address or the square code that it shows now.',
    });
  }
  const answer = await response.json();
  if (!response.ok) {
    throw new Refused(response.status, answer.refused || {}, answer);
  }
  return answer;
}

async function fetched(path, options) {
  try {
    return await fetch(path, options);
  } catch (gone) {
    if (gone.name === 'AbortError') throw gone;
    throw new NoWay();
  }
}

export async function get(path) {
  return read(await fetched(path));
}

export async function post(path, what, options = {}) {
  return read(await fetched(path, {
    method: 'POST',
    headers: {'Content-Type': 'application/json'},
    body: JSON.stringify(what),
    ...options,
  }));
}

/** Sends a photo; `progress` hears the part that has gone, 0 to 1. */
export function send(path, file, progress) {
  return new Promise((resolve, reject) => {
    const call = new XMLHttpRequest();
    call.open('POST', path);
    call.setRequestHeader('Content-Type', 'application/octet-stream');
    call.upload.onprogress = (event) => {
      if (event.lengthComputable) progress(event.loaded / event.total);
    };
    call.onload = () => {
      let answer = {};
      try {
        answer = JSON.parse(call.responseText);
      } catch {
        // Told below.
      }
      if (call.status >= 200 && call.status < 300) {
        resolve(answer);
      } else {
        reject(new Refused(call.status, answer.refused || {
          code: 'http', message: 'The photo was not taken.', remedy: '',
        }, answer));
      }
    };
    call.onerror = () => reject(new NoWay());
    call.send(file);
  });
}
