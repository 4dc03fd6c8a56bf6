-- A Stepbell script: two blanks a block, names with hyphens are words, `note` begins a remark, and the
-- program's own language server tells what is wrong while you write.
vim.bo.shiftwidth = 2
vim.bo.expandtab = true
vim.bo.commentstring = 'note %s'
vim.opt_local.iskeyword:append('-')
vim.bo.omnifunc = 'v:lua.vim.lsp.omnifunc'

local server = {
  name = 'stepbell',
  cmd = { vim.g.stepbell_program or 'stepbell', 'language-server' },
  root_dir = vim.fn.fnamemodify(vim.api.nvim_buf_get_name(0), ':p:h'),
}
if vim.lsp.start then
  vim.lsp.start(server)
else
  -- Before Neovim 0.8.
  local client = vim.lsp.start_client(server)
  if client then vim.lsp.buf_attach_client(0, client) end
end
