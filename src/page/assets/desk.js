// The page works without this; it adds what a keyboard and a quick hand expect.

const search = document.querySelector('#words');

document.addEventListener('keydown', (event) => {
  const typing = event.target.closest('input, textarea, select');
  if (event.key !== '/' || typing || event.ctrlKey || event.metaKey || event.altKey) return;
  event.preventDefault();
  search?.focus();
  search?.select();
});

// A form sends once: what is recorded twice would be two plans.
for (const form of document.querySelectorAll('form[method="post"]')) {
  form.addEventListener('submit', (event) => {
    if (form.dataset.sent) event.preventDefault();
    form.dataset.sent = 'yes';
  });
}

// Coming back by the back button, a form may be sent again.
addEventListener('pageshow', () => {
  for (const form of document.querySelectorAll('form[data-sent]')) delete form.dataset.sent;
});
