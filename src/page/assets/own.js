// A file of one's own faults and drills, chosen or dropped, is put into the form; nothing is kept yet.

const form = document.querySelector('form.own');
const choose = form.querySelector('input[type="file"]');

async function take(file) {
  if (!file) return;
  form.querySelector('[name="text"]').value = await file.text();
  form.querySelector('[name="name"]').value = file.name;
}

choose.addEventListener('change', () => {
  take(choose.files[0]);
  choose.value = '';
});
addEventListener('dragover', (event) => event.preventDefault());
addEventListener('drop', (event) => {
  event.preventDefault();
  take(event.dataTransfer.files[0]);
});
