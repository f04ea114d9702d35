// Files that are chosen or dropped go to the program one after the other; the form then names them.

const form = document.querySelector('form.files');
const list = form.querySelector('.sent');
const choose = form.querySelector('input[type="file"]');
const day = form.querySelector('[data-day]');
const button = form.querySelector('button');
const kind = form.dataset.kind;
const most = { recording: 2 * 2 ** 30, table: 16 * 2 ** 20, pack: 2 ** 30 }[kind];
let sending = Promise.resolve();
let open = 0;

function line(name) {
  const item = document.createElement('li');
  item.append(`${name} `);
  const bar = document.createElement('progress');
  bar.max = 1;
  bar.value = 0;
  bar.setAttribute('aria-label', `Sending ${name}`);
  item.append(bar);
  list.append(item);
  return { item, bar };
}

function refuse(item, name, why) {
  item.replaceChildren();
  item.className = 'stop';
  item.append(why || `${name} could not be sent; is the program still running?`);
}

function take(item, file) {
  const label = document.createElement('label');
  label.className = 'tick';
  const box = Object.assign(document.createElement('input'), {
    type: form.dataset.one ? 'radio' : 'checkbox', name: 'file', value: file.id, checked: true,
  });
  const size = document.createElement('small');
  size.textContent = file.size;
  label.append(box, ` ${file.name} `, size);
  item.replaceChildren(label);
}

function send(file) {
  const { item, bar } = line(file.name);
  if (file.size > most) {
    refuse(item, file.name, `${file.name} is larger than is taken here.`);
    return Promise.resolve();
  }
  return new Promise((done) => {
    const request = new XMLHttpRequest();
    request.open('POST', `/upload/${kind}?name=${encodeURIComponent(file.name)}`);
    request.upload.onprogress = (event) => {
      if (event.lengthComputable) bar.value = event.loaded / event.total;
    };
    request.onload = () => {
      if (request.status === 201) take(item, JSON.parse(request.responseText));
      else refuse(item, file.name, request.responseText);
      done();
    };
    request.onerror = () => {
      refuse(item, file.name);
      done();
    };
    request.send(file);
  });
}

function all(files) {
  for (const file of files) {
    if (day && !day.value && file.lastModified) {
      const written = new Date(file.lastModified);
      const two = (number) => String(number).padStart(2, '0');
      day.value = `${written.getFullYear()}-${two(written.getMonth() + 1)}-${two(written.getDate())}`;
    }
    open += 1;
    button.disabled = true;
    sending = sending.then(() => send(file)).then(() => {
      open -= 1;
      button.disabled = open > 0;
    });
  }
}

choose.addEventListener('change', () => {
  all([...choose.files]);
  choose.value = '';
});

addEventListener('dragover', (event) => {
  event.preventDefault();
  form.classList.add('over');
});
addEventListener('dragleave', (event) => {
  if (!event.relatedTarget) form.classList.remove('over');
});
addEventListener('drop', (event) => {
  event.preventDefault();
  form.classList.remove('over');
  all([...event.dataTransfer.files]);
});

// A code is asked for only where nobody is chosen.
const known = form.querySelector('[data-known]');
const fresh = form.querySelector('[data-new]');
if (known && fresh) {
  const show = () => { fresh.hidden = known.value !== ''; };
  known.addEventListener('change', show);
  show();
}
