// How far long work is, as the program tells it; at its end the page shows what came of it.

const work = document.querySelector('.work');
const bar = work.querySelector('progress');
const about = work.querySelector('.about');
const how = work.querySelector('.how');

const heard = new EventSource(work.dataset.events);
heard.onmessage = (event) => {
  const now = JSON.parse(event.data);
  if (now.ended) {
    heard.close();
    location.reload();
    return;
  }
  about.textContent = now.about;
  how.textContent = now.left ? `${now.words}, ${now.left}` : now.words;
  if (now.of) bar.value = now.done / now.of;
  else bar.removeAttribute('value');
};
