-- Loads the tree-sitter parser into Neovim and looks at trees and colours of the demo.
-- Works with Neovim 0.7 (the older names of the functions) and later.

local function check(what, held, detail)
  if not held then
    error(what .. (detail and (': ' .. vim.inspect(detail)) or ''), 0)
  end
end

local function read(path)
  return table.concat(vim.fn.readfile(path), '\n')
end

local root = vim.env.CUTWATER_ROOT

local function load()
  if vim.treesitter.language and vim.treesitter.language.add then
    vim.treesitter.language.add('pump', { path = vim.env.CUTWATER_PARSER })
  else
    vim.treesitter.require_language('pump', vim.env.CUTWATER_PARSER)
  end
end

local function query(name)
  local text = read(root .. '/grammar/tree-sitter/queries/' .. name .. '.scm')
  local parse = vim.treesitter.query and vim.treesitter.query.parse or vim.treesitter.parse_query
  return parse('pump', text)
end

local function text_of(node, buf)
  local get = vim.treesitter.get_node_text or vim.treesitter.query.get_node_text
  return get(node, buf)
end

local function run()
  load()
  for _, name in ipairs({ 'highlights', 'folds', 'indents', 'locals', 'injections', 'tags' }) do
    check(name .. '.scm is read', query(name))
  end
  local highlights = query('highlights')
  local files = vim.fn.glob(root .. '/demo-data/**/*.pump', false, true)
  check('there are files in the demo', #files > 5, files)
  local seen = {}
  for _, path in ipairs(files) do
    vim.cmd('noautocmd edit ' .. vim.fn.fnameescape(path))
    local buf = vim.api.nvim_get_current_buf()
    local tree = vim.treesitter.get_parser(buf, 'pump'):parse()[1]
    check(path .. ' is read without an error', not tree:root():has_error())
    for id, node in highlights:iter_captures(tree:root(), buf, 0, -1) do
      local name = highlights.captures[id]
      seen[name] = seen[name] or {}
      seen[name][text_of(node, buf)] = true
    end
  end
  -- What a reader of the demo sees.
  for name, text in pairs({
    keyword = 'require',
    ['type.builtin'] = 'pump',
    ['type.definition'] = 'engine',
    property = 'gear_ratio',
    number = '2100',
    type = 'rpm',
    ['module.builtin'] = 'std',
    ['variable.member'] = 'discharge',
    ['constant.builtin'] = 'double',
    label = 'right',
    operator = '->',
    ['keyword.operator'] = 'within',
  }) do
    check(text .. ' has the colour of a ' .. name, seen[name] and seen[name][text], seen[name])
  end
  check('no kind is unknown', not seen.type.ring, seen.type)
end

local ok, err = pcall(run)
if ok then
  io.stderr:write('tree-sitter in neovim: all is well\n')
  vim.cmd('qall!')
else
  io.stderr:write('tree-sitter in neovim: ' .. tostring(err) .. '\n')
  vim.cmd('cquit 1')
end
